"""Tests of router.daemon."""
