"""Tests of rules/drawing."""
