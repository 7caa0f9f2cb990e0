"""Tests over the ALSA sequencer, for `scripts/test-alsa`: they need its kernel module, which a container lacks."""
