"""Two measurements of one part: what changed between them."""
