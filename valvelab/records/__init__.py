"""What is kept or exchanged: versioned models."""
