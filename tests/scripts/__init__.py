"""Tests of the scripts that contributors and the demo run."""
