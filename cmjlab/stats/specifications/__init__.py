"""One question answered in many ways: estimates, agreement, shares of choices, a joint test."""
