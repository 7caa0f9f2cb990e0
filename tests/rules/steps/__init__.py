"""Tests of the steps, a file each for what the step's model computes by itself."""
