"""Tests of router.page."""
