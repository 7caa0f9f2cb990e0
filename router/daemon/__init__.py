"""The daemon: the loop that plays, rules reloaded meanwhile, the control socket, signals, the service manager.

Nothing here parses a command line or prints a result. Start with `daemon`, which puts it together, then `live`.
"""
