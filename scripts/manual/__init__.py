"""Keeps README and the manual true: what they show is written by the program that they are about."""
