"""A defence without playing it."""
