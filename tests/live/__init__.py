"""Tests over a real sound server, between real processes."""
