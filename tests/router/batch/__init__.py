"""Tests of router.batch."""
