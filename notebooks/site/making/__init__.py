"""The parts of the site that are made and not written: each file makes one kind of page."""
