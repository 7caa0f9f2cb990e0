"""The rig as a whole: which channel plays what, what its cables can carry, and its picture.

Nothing that routes a message, and no files or ports: values in, values out.
Start with `din_queue`, then `din_load`; for pictures with `rig_picture`, on shapes that `svg` writes; for the plan of
channels with `channel_plan`.
"""
