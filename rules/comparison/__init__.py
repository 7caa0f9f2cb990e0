"""What differs between two rule sets, message by message, in words; and what a rule file promises of all messages.

Start with `comparison`, then `promises`.
"""
