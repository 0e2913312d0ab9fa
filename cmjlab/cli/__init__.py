"""Thin commands over the library: the only room that prints."""
