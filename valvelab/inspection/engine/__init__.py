"""Phasing and valve motion: the camshaft in its engine."""
