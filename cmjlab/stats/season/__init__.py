"""A season: athletes followed from week to week against their own stable weeks."""
