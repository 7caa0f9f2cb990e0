"""What can be said about rules: the trace of a message, the last minutes, findings, the tests of a rule file.

Nothing that routes a message: all here only asks the compiled program.
Start with `behaviour`, which has every way of every message, and with `trace`, which has one.
"""
