"""The whole shaft: indexing, runout, form and surface."""
