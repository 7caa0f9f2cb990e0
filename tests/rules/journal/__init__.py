"""Tests of rules/journal."""
