"""What changed, within groups and between them, and what is only drift."""
