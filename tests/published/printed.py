"""Assert figures as they are printed, and keep a record of each that was asserted.

Worked answers (an example that a report works through, a problem's printed solution) are kept apart
from cells of tables, of which one page may hold a hundred.
"""

from __future__ import annotations

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


def answer(
    found: ArrayLike, figure: float, *, of: str, abs: float | None = None, rel: float | None = None
) -> None:
    """Assert a figure of a worked example within what its rounding or its source allows.

    Parameters
    ----------
    found
        What the code gives, in the unit printed.
    figure
        As it is printed.
    of
        The example's name, as in `test_count.ANSWERS`.
    abs, rel
        As those of `pytest.approx`.
    """
    assert found == pytest.approx(figure, abs=abs, rel=rel)
    ASSERTED.append(Printed("answer", of, figure))


def cells(
    found: ArrayLike, figures: ArrayLike, *, of: str, within: float = 0.0, rel: float = 0.0
) -> None:
    """Assert cells of a printed table; a cell that is printed empty is NaN and does not count."""
    wanted = np.asarray(figures, dtype=float)
    np.testing.assert_allclose(found, wanted, rtol=rel, atol=within)
    ASSERTED.extend(Printed("cell", of, float(f)) for f in wanted[~np.isnan(wanted)].flat)
