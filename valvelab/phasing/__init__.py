"""Degreeing: where the cam stands against the crank."""
