"""The parts of scripts/bench: each measures something beside its baseline, and gives figures."""
