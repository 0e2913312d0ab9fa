"""The block report and the notebooks."""
