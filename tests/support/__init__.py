"""What the tests of several rooms share: files to read, rules and performances to play, written or drawn at random.

No test is in here, and nothing that only one room needs.
"""
