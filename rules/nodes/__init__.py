"""Steps with memory. A node takes one message at a time on its way and sends on what comes of it.

Everything is decided on arrival: a node that delays tells the walk how much later, it keeps no messages. Only `thin`
holds one back, and only until it is known whether a newer one replaces it.
"""
