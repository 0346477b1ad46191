"""The report and the bench sheet as pages."""
