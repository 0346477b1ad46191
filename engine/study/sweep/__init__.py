"""Sweeps: many points of a scenario, played in batches that can be stopped, spread and taken up again."""
