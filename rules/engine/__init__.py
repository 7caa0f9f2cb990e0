"""Messages in, messages out: what is held, what is due, what several holders share at one output.

No ports, files or clocks; no step is known here by name.
Start with `engine`, then `evaluation` and `bookkeeping`.
"""
