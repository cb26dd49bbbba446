"""A run in one file: everything that is needed to look at it, audit it and replay it elsewhere."""
