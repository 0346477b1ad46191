"""The replay page."""
