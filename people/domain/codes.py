"""Codes that stand in the address of a page."""

CODE = r"^[A-Za-z0-9][A-Za-z0-9._-]*\Z"
"""Letters, digits, dots, hyphens and underscores, a letter or digit first."""
