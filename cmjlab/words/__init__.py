"""Every sentence that a person reads, by key, in one catalog."""
