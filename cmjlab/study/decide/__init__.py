"""A person's decisions, and what follows from them."""
