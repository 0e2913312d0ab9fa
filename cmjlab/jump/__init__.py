"""Analysis of one recording: arrays only."""
