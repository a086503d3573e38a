"""Lobes and whole camshafts."""
