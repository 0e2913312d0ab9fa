"""Which metrics of two plates or methods may stand in one table: matching, line, conversion, verdict."""
