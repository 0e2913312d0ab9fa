"""All problems of a study at once."""
