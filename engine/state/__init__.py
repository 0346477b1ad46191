"""The words and arrays that files, kernel and reports share."""
