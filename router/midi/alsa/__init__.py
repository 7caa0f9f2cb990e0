"""The ALSA sequencer: our client on it, its records, and how full the pools of others are.

Nothing here knows of rules or of the daemon. Start reading in `sequencer_backend.py`.
"""
