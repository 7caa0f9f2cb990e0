"""MIDI itself: messages, controllers, notation, neutral values, sysex in packets, the speed of a DIN wire.

Nothing about rules, switches or this program's own ideas belongs here.
Start with `messages`, then `notation`.
"""
