"""The computer's MIDI: its systems (ALSA, JACK, others), ports that come and go, what is sent and what arrives.

Nothing here knows rules in force, recordings or a daemon. Start with `backend`, then `port_manager`.
"""
