"""What a study of this size can see, before it starts."""
