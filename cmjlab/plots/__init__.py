"""Figures from Jump and Result."""
