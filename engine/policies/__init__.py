"""What base slides and trap calls mean."""
