"""Many springs: the most sets, then the tightest."""
