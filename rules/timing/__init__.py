"""Time as an argument: delays, tempo and MIDI clock, active sensing, and what is due when.

No clock is read here, and no message is understood beyond its status.
Start with `delays`, then `scheduler`.
"""
