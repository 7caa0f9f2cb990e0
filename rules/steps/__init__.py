"""Steps."""
