"""What sections are made from: the analyses of a study, and a reader's choices."""
