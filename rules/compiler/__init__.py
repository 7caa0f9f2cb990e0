"""A rule set made into a program: chains of steps folded into tables, once, when the rules are read.

Nothing that changes while music plays, and no words for people.
Start with `compiler`, then `chain` and `cells`.
"""
