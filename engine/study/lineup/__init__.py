"""Who plays which place."""
