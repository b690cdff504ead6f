"""Moves to another site that have begun."""

import logging
from collections.abc import Callable
from typing import Any

from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from people.services.moves import carry_out_moves

log = logging.getLogger(__name__)


def moves_begin(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Carry out what has begun before anything is read of who is where."""

    def middleware(request: HttpRequest) -> HttpResponse:
        try:
            carry_out_moves(timezone.now())
        except DatabaseError:
            # Whatever the request is about will say so, and some of it needs no database.
            log.exception("Nobody could be asked whether a move has begun.")
        return get_response(request)

    return middleware


def moves_begin_before_a_job(**_signal: Any) -> None:
    """The same before a worker does anything."""
    carry_out_moves(timezone.now())
