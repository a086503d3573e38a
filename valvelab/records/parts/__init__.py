"""The records of a job's parts, a module a use, each loaded where it is wanted."""
