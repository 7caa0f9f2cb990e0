"""What is heard while a rig is set up: a sound check, gestures and snippets for `learn`, incoming messages in words.

No port and no terminal: times and messages come in as values.
Start with `incoming`, then `gestures`.
"""
