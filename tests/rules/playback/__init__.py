"""Tests of takes that are played in time."""
