"""Tests of rules/program."""
