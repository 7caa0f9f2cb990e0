"""Tests of the pure package `rules`."""
