"""Tests of rules/analysis."""
