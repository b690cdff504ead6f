"""Fixtures that every test may use, and the report of what was skipped."""
