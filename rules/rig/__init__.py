"""The rig as a whole: which channel plays what, and what its cables can carry.

Nothing that routes a message, and no files or ports: values in, values out.
Start with `din_queue`, then `din_load`; for the plan of channels with `channel_plan`.
"""
