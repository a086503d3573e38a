"""Many items of a kind held against one limit: how the lot lies in it."""
