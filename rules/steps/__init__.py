"""Every step of a rule, one file each, and next to it the node of a step that remembers.

Nothing that has to know two steps: what all have in common is asked through `base`.
Start with `registry`, then `base` and `transpose`.
"""
