"""Short lengths as crews in US units measure them: below a foot in inches, in steps of a half."""

from __future__ import annotations

import math
from typing import Final

from cli.plan.field_types import FOOT_M

INCH_M: Final = FOOT_M / 12
#: Lengths below this are told in inches, m; what would round to a foot stays in inches.
BELOW_M: Final = FOOT_M
#: From so many inches on they are told in halves, below it in two figures.
HALVES_FROM: Final = 1.0


def in_inches(length_m: float) -> bool:
    """Whether a length is told in inches."""
    return 0 < abs(length_m) < BELOW_M


def inches(length_m: float) -> str:
    """Write a length in inches, without the unit."""
    value = length_m / INCH_M
    if abs(value) >= HALVES_FROM:
        return f"{math.floor(2 * value + 0.5) / 2:g}"
    return f"{value:.2g}"
