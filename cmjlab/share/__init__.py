"""A copy of a study that can be given away: other ids, other dates, nothing that names a person."""
