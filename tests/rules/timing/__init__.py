"""Tests of rules/timing."""
