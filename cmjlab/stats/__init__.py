"""Statistics on arrays and tables, never on signals."""
