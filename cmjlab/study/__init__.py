"""The study folder on disk."""
