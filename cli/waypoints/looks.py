"""How loops are drawn, in figures and files: told apart by colour, dashes and number."""

from __future__ import annotations

from typing import Any

#: Colours of loops in turn; none is a colour of a site, a channel or a headcut.
COLOURS = ("#7A2A6E", "#4A3524", "#00666B")
#: Dashes in turn, points on and off; each is used with every colour before the next.
DASHES: tuple[Any, ...] = ("solid", (0, (6.0, 2.0)), (0, (1.6, 1.6)))


def loop_look(number: int) -> tuple[str, Any]:
    """Colour and dashes of a loop, 1 for the first."""
    i = number - 1
    return COLOURS[i % len(COLOURS)], DASHES[(i // len(COLOURS)) % len(DASHES)]
