"""Tests of the steps with a memory."""
