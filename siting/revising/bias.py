"""What measuring says of the elevations on this ranch: too wide, too shallow, or right."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from siting.record.site_records import SiteRecord
from siting.record.structure_rows import columns_of
from siting.revising.measured_spots import shown_size
from siting.revising.site_measures import FieldSite
from siting.values.columns import Columns
from siting.values.wording import counted

#: Measured over planned closer to 1 than this is no bias that matters.
EVEN = 0.05
_WORDS = {
    "width": ("wide", "narrow"),
    "depth": ("deep", "shallow"),
    "drop": ("high", "low"),
    "slope": ("steep", "flat"),
}


@dataclass(frozen=True, slots=True)
class Bias:
    """Measured over what the elevations show, for one measure.

    Parameters
    ----------
    measure
        ``width``, ``depth``, ``drop`` or ``slope``.
    count
        How many measurements it rests on.
    median, low, high
        Median and quartiles of the ratio; NaN where there are too few.
    fewest
        Fewer than this are too few.
    """

    measure: str
    count: int
    median: float
    low: float
    high: float
    fewest: int

    def sentence(self) -> str:
        """Say it in words."""
        what = self.measure.capitalize()
        if self.count < self.fewest:
            return (
                f"{what}: {counted(self.count, 'measurement')}, too few to say how far off the "
                f"elevations are (from {self.fewest} on)."
            )
        over, under = _WORDS[self.measure]
        if abs(self.median - 1) < EVEN:
            says = "the elevations show it about right"
        else:
            says = f"the elevations show it too {over if self.median < 1 else under}"
        return (
            f"{what}: measured is {self.median:.2f} times what the elevations show (middle half "
            f"{self.low:.2f} to {self.high:.2f}, {counted(self.count, 'measurement')}): {says}."
        )


def biases(records: Sequence[SiteRecord], found: Mapping[int, FieldSite]) -> tuple[Bias, ...]:
    """Compare measures with what the elevations showed at the same sites.

    Parameters
    ----------
    records
        Sites as planned, in the order of their numbers.
    found
        What is known from the field, by number of the site.
    """
    fewest = int(records[0].spot.rules.value("revise.fewest"))
    return tuple(_bias(measure, records, found, fewest) for measure in _WORDS)


def _bias(
    measure: str, records: Sequence[SiteRecord], found: Mapping[int, FieldSite], fewest: int
) -> Bias:
    pairs = [
        (_measured(found[i], measure), _planned(record, measure))
        for i, record in enumerate(records, start=1)
        if i in found
    ]
    ratios = [m / p for m, p in pairs if math.isfinite(m) and math.isfinite(p) and p > 0]
    if len(ratios) < fewest:
        return Bias(measure, len(ratios), math.nan, math.nan, math.nan, fewest)
    low, median, high = np.percentile(ratios, (25, 50, 75))
    return Bias(measure, len(ratios), float(median), float(low), float(high), fewest)


def _measured(site: FieldSite, measure: str) -> float:
    return float(getattr(site, "slope" if measure == "slope" else f"{measure}_m"))


def _planned(record: SiteRecord, measure: str) -> float:
    """What the elevations show; NaN where they do not."""
    spot = record.spot
    return {
        "width": shown_size(record)[0],
        "depth": shown_size(record)[1],
        "drop": spot.drop.height_m,
        "slope": spot.slope,
    }[measure]


def bias_columns(found: Sequence[Bias]) -> Columns:
    """Rows of the table ``bias``."""
    rows = [(b.measure, b.count, b.median, b.low, b.high, b.sentence()) for b in found]
    names = ("measure", "measurements", "median_ratio", "low_ratio", "high_ratio", "text")
    return columns_of(names, rows)
