"""The compiled form of a rule set, as plain data: tables of cells of lanes, forms, guards, switch states, nodes.

Nothing of the rule file's own form (pydantic) belongs here, and nothing that changes while music plays.
Start with `tables`, then `pipeline`.
"""
