"""Assert figures as they are printed, and keep a record of each that was asserted.

Worked answers (an example that a report works through, a problem's printed solution) are kept apart
from cells of tables, of which one page may hold a hundred.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Literal, NamedTuple

import numpy as np
import pytest
from numpy.typing import ArrayLike


class Printed(NamedTuple):
    """One figure that stood in a publication and came out of the code."""

    kind: Literal["answer", "cell"]
    of: str
    figure: float


#: In the order of the assertions; a figure comes in only once it has been asserted.
ASSERTED: list[Printed] = []


def answer(found: ArrayLike, figure: float, *, of: str, within: float, why: str = "") -> None:
    """Assert a figure of a worked example.

    Parameters
    ----------
    found
        What the code gives, in the unit printed.
    figure
        As it is printed.
    of
        The example's name, as in `test_count.ANSWERS`.
    within
        Half a unit of the last digit printed; more asks for a reason.
    why
        Why more has to be allowed: what the source itself rounds or reads off a chart.
    """
    assert why or within <= half_last_digit(figure) * (1 + 1e-9), "wider than rounding: say why"
    assert found == pytest.approx(figure, abs=within, rel=0)
    ASSERTED.append(Printed("answer", of, figure))


def half_last_digit(figure: float) -> float:
    """Half a unit of the last digit that a figure shows; noughts at the end do not show."""
    digits = Decimal(repr(figure)).normalize().as_tuple()
    assert isinstance(digits.exponent, int)
    return 0.5 * 10.0**digits.exponent


def cells(
    found: ArrayLike, figures: ArrayLike, *, of: str, within: float = 0.0, rel: float = 0.0
) -> None:
    """Assert cells of a printed table; a cell that is printed empty is NaN and does not count."""
    wanted = np.asarray(figures, dtype=float)
    np.testing.assert_allclose(found, wanted, rtol=rel, atol=within)
    ASSERTED.extend(Printed("cell", of, float(f)) for f in wanted[~np.isnan(wanted)].flat)
