"""Tests of rules/listening."""
