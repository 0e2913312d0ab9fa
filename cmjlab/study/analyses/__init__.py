"""The analyses of a block, by the study's own plan."""
