"""Recordings by the thousand: what to do with each file, workers on all cores, progress, resuming, totals, the report.

Nothing here plays live or parses a command line. Start with `search`, `plan`, then `workers`.
"""
