"""The Breakyard logger: the files that are copied to a board."""
