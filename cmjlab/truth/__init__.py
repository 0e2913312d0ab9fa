"""Known-truth error budget and calibration harness."""
