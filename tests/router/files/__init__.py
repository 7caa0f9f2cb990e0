"""Tests of router.files."""
