"""Tallies to estimates with their intervals; no English here."""
