"""Tests of rules/engine."""
