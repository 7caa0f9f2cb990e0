"""The disk, the process and the clock: whole files or none, signals held back, names of files, rule files read.

Nothing here knows a port, a recording or a command. Start with `atomic_writing`.
"""
