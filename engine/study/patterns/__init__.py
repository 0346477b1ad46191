"""The patterns that a simulated trap should show (model description, section 7): measured, never assumed."""

from engine.study.patterns.table import PATTERNS, PatternsResult, measure

__all__ = ["PATTERNS", "PatternsResult", "measure"]
