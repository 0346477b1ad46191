"""Plays blocks of possessions and keeps their records."""
