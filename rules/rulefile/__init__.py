"""Rule files: their schema, how they are read, and everything that can be wrong with them, by file and line.

Nothing about what rules do to a message: that is for `steps` and `compiler`.
Start with `schema`, then `reading`.
"""
