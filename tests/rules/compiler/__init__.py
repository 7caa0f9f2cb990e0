"""Tests of rules/compiler."""
