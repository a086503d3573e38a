"""Bytes to records and back."""
