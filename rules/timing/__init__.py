"""Time as an argument: delays, MIDI clock and tempo, active sensing, and what is due when.

No clock is read here, and no message is understood beyond its status.
Start with `delays`, then `scheduler`.
"""
