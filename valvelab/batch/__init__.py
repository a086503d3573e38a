"""Many files at once: a folder or a store, inspected in parallel processes or on a cluster, one row an item."""
