"""One possession, step by step."""
