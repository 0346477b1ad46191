"""From a store's tables to indices and curves."""
