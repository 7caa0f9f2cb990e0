"""Tests of rules/ports."""
