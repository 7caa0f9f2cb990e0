"""Tests of rules/comparison."""
