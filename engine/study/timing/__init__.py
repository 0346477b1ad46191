"""Every pass against five men's legs."""
