"""Tests of rules/rulefile."""
