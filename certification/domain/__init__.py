"""The rules of certification in plain Python: no Django, no database, no clock, no files."""
