"""Rules that split a squad, how certain each placement is, and whether a split repeats."""
