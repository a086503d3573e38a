"""How a store of an earlier form becomes one of the present form, step by step."""
