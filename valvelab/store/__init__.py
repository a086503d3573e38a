"""The record store."""
