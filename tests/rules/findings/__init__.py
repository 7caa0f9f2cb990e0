"""Tests of rules/findings."""
