"""Single sheets: one athlete, one block of training."""
