"""The patterns that a simulated trap should show (model description, section 7): measured, never assumed."""
