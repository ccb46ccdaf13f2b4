"""Which headcuts become sites, and why the others do not: every head has an answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from siting.channels.bed_slopes import bed_slopes
from siting.channels.ground import Ground
from siting.channels.headcut_measures import HeadMeasures, measure_heads
from terrain.values.arrays import BoolArray, FloatArray, IntArray

#: Why a headcut is no site.
OUTSIDE: Final = "outside"
NO_CHANNEL: Final = "no channel"
UNSURE: Final = "unsure"
HILLSIDE: Final = "hillside"


@dataclass(frozen=True, slots=True, eq=False)
class Sifted:
    """Headcuts with their answer.

    Parameters
    ----------
    code
        Why each of the ground's headcuts is no site; empty for one that is; ``(n,)``.
    measures
        Measures of those that are inside, sure and on a channel, ``(m,)``.
    slope
        Slope of the bed that a structure at each of these would stand on, ``(m,)``.
    hillside
        Which of these lie in a bed so steep that it belongs to the hillside, ``(m,)``.
    """

    code: NDArray[Any]
    measures: HeadMeasures
    slope: FloatArray
    hillside: BoolArray

    @property
    def kept(self) -> IntArray:
        """Rows of the measures whose headcuts become sites."""
        return np.flatnonzero(~self.hillside)


def sifted(ground: Ground) -> Sifted:
    """Sift the ground's headcuts; what is tested first answers first."""
    heads, rules = ground.headcuts, ground.rules
    code = np.full(heads.size, "", dtype=object)
    code[heads.confidence < rules.value("measuring.least_confidence")] = UNSURE
    code[heads.reach < 0] = NO_CHANNEL
    code[~ground.inside(heads.cell)] = OUTSIDE
    measures = measure_heads(ground, np.flatnonzero(code == ""))
    cells = heads.cell[measures.index]
    # the same bed that a site at the lip is measured on
    slope = bed_slopes(ground, cells, at_head=measures.section_cell != cells).here
    hillside = np.asarray(slope > rules.value("refer.slope"), dtype=np.bool_)
    code[measures.index[hillside]] = HILLSIDE
    return Sifted(code, measures, slope, hillside)
