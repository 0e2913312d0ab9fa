"""What can be said about one athlete against measurement error."""
