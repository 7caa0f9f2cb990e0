"""The record of a live run: its format, how it is played again, and how it becomes a .mid file.

No disk: records come and go as bytes.
Start with `format`, then `replay`.
"""
