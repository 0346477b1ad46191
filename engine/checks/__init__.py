"""Files and policies asked whether they are right."""
