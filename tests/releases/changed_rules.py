"""What the database refuses otherwise than the last release has it.

`prepare` puts the new rules in place while that release serves, so each has to let its acts
through, and its own verification calls the changed triggers missing until it is replaced.
"""

CHANGED: dict[str, str] = {}
"""By table and name of the rule, as in ``"records.Removal append_only"``: why the last release,
which has it otherwise, can go on writing under it."""
