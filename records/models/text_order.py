"""Text in the order of its bytes, in which what begins with something stands together."""

from typing import Any

from django.db import models
from django.db.models import Func


class InByteOrder(Func):
    """A text compared byte by byte, whatever language the database sorts in.

    An index of it answers what a number begins with by one range on either database.
    """

    template = "%(expressions)s"
    arity = 1
    output_field = models.TextField()

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        return self.as_sql(compiler, connection, template='(%(expressions)s) COLLATE "C"')


AFTER_ALL = chr(0x10FFFF)
"""Sorts behind whatever may follow a beginning."""
