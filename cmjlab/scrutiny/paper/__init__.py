"""A published table beside a study: replicated, not replicated, or not to be told."""
