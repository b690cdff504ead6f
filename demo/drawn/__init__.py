"""Photographs of practice joints, drawn by code, with what is true of them.

For the demonstration and for tests: nothing here shows real work. A joint's truth comes from
the parameters it was drawn by, never from measuring the picture.
"""

from .board import Position, draw_board
from .joint import FAULTS, KINDS, VIEWS, DrawnJoint, draw_joint, views_of

__all__ = [
    "FAULTS",
    "KINDS",
    "VIEWS",
    "DrawnJoint",
    "Position",
    "draw_board",
    "draw_joint",
    "views_of",
]
