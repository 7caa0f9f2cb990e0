"""Tests of router.midi."""
