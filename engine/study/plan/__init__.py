"""Whole games: how often to make each call."""
