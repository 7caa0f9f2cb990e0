"""Tests of rules/rig."""
