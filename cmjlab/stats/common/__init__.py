"""What every statistic stands on: tables, rows, intervals, least squares, REML."""
