"""The rig as a whole: what its cables can carry, and what follows from that for the player.

Nothing that routes a message, and no files or ports: values in, values out.
Start with `din_queue`, then `din_load`.
"""
