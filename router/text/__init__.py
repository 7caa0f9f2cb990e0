"""What the program prints and how: numbers, lengths of time, colour, exit codes, faults of a command line.

Nothing here opens a file, knows a port or reads a rule. Start with `formatting`.
"""
