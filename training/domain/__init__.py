"""Computation in plain Python and numpy: no Django, no database, no clock, no files."""
