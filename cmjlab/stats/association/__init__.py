"""What goes together, and what changes together."""
