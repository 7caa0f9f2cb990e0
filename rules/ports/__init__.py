"""The pure part of ports: their names and patterns, and how much an output may be sent at a time.

No port is opened here.
Start with `patterns`.
"""
