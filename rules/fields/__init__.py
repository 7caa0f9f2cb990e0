"""The small values of a rule file and its conditions: how they are read, and how they divide messages.

No tables or sections of a rule file, and no step.
Start with `part` and `numbers`, then `conditions`.
"""
