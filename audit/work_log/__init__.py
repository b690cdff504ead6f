"""Work-log checks: every line of a work log held against a register."""
