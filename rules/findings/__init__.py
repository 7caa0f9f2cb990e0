"""What is odd about a rig, found by `check` from all messages that there are: one module for each sort of finding.

A finding has an example and a remedy; whether it is meant is for the rule file to say.
Start with `finding`, then `findings`.
"""
