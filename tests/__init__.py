"""The tests of Pointsman, and the helpers they share."""
