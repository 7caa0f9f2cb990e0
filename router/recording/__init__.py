"""What was played, kept: the last minutes in memory, journals on the disk, takes made by hand or automatically.

Nothing here knows rules in force or a command line. Start with `recorder`.
"""
