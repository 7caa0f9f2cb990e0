"""What is held against the outside: published standards, and readers of .mid files that are not ours.

Each test names its source. `SOURCES.md` lists what is held, where it comes from, and the test.
"""
