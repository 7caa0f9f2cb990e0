"""Tests of the package `router`: files, command line, effects."""
