"""The review widget."""
