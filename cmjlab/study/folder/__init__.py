"""The user's folder: settings, tables, recordings, and every problem found."""
