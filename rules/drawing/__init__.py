"""Pictures of a rig and of a take, as SVG 1.1: rules, devices and switches, curves, piano rolls, sheets.

Values in, text out: nothing here writes a file, and nothing decides what is shown but how.
Start with `rig_picture`, on shapes that `svg` writes.
"""
