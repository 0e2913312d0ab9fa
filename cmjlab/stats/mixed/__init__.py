"""More than two sessions, or missing ones: contrasts, mixed models, mixed ANOVA."""
