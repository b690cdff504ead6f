"""The refusals this app can give, worded for the person who reads them."""

from records.exceptions import Refusal


class TrainingError(Refusal):
    """Something about classes, tools or facts about people that cannot be done as asked."""
