"""Springs, matched sets and shims."""
