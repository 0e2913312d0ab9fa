"""The report as plain data, and numbers as text."""
