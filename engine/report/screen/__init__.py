"""Results as text on the screen, one file per question."""
