"""Tests of the lossless Standard MIDI File codec."""
