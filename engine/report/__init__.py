"""What leaves the engine: text for a coach and JSON for a program."""
