"""Which metrics to believe: typical error, ICC, CV, agreement, with intervals."""
