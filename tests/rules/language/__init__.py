"""Tests of the rule file: reading, places, errors, embedded tests."""
