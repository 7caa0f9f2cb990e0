"""Tests of router.text."""
