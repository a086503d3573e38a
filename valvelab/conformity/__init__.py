"""Deciding: limits, envelopes, uncertainty, gauge study."""
