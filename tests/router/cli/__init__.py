"""Tests of router.cli."""
