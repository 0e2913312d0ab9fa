"""The invented demo study."""
