"""Measured rows on disk: whole or not at all, never stale."""
