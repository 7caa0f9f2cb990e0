"""Tests of router.recording."""
