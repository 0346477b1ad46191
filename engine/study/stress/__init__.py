"""In how many plausible worlds a call pays."""
