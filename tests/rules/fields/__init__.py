"""Tests of rules/fields."""
