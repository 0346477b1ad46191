"""The questions people ask of the engine: play one setting, compare settings, replay one possession."""
