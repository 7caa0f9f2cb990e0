"""The disk and the process: whole files or none, signals held back meanwhile, names of files, rule files read.

Nothing here knows a port, a recording or a command. Start with `atomic_writing`.
"""
