"""Long nights and sudden ends: what is left when a run is killed, and what hangs after minutes of playing."""
