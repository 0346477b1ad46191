"""The opponent as the sheet counts him, and as the model plays him."""
