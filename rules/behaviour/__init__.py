"""What compiled rules make of every message, exactly: regions of messages, and the ways that lead from them.

Nothing is judged here, and nothing remembered: `comparison` and `findings` ask.
Start with `behaviour`.
"""
