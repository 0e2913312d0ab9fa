"""Jumps of many studies as a Parquet data set that never has to fit into memory."""
