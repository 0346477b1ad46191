"""Validated objects to the kernel's arrays."""
