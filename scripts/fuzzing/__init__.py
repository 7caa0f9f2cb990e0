"""Plays and reads what chance makes: damaged files, and random rules on the engine and on the slow model."""
