"""Tests of rules/midi."""
