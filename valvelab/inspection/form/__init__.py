"""Form and texture of the shaft, and gauge studies."""
