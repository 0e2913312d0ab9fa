"""Whether what was written follows from the raw files: looked up, measured and computed again."""
