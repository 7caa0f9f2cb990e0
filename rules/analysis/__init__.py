"""What can be said about single messages: a trace, the last minutes, a moment of a take, the tests of a rule file.

Nothing that routes a message: all here only asks the compiled program.
Start with `trace`.
"""
