"""The page for a phone or a laptop's browser, and its server, which is a process of its own.

No MIDI port and no rule in force is here: all of that is asked of a daemon over its control socket. Start with
`server.py`; `PROTOCOL.md` describes what goes between server and browser, `static/` is the page itself.
"""
