"""Tests of rules/behaviour."""
