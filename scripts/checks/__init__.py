"""What scripts/check asks besides the usual tools."""
