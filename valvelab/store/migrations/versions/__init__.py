"""One module a step; none changes once it was released."""
