"""Whole curves: bands that hold over every point at once, the noise of a curve, and where a band leaves zero."""
