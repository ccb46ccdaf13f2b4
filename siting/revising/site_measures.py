"""What was measured at a site, and what is wrong with a single value."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from siting.revising.field_rows import MEASURES, TEXTS
from siting.values.rules import Rules
from siting.values.wording import exactly

BUILD, SKIP, MOVE, REFER = "build", "skip", "move", "refer"
DECISIONS: Final = (BUILD, SKIP, MOVE, REFER)
UNKNOWN, CONFLICTING, IMPOSSIBLE, UNREAD = "unknown", "conflicting", "impossible", "unread"
#: Texts of several rows of one site are put together; they cannot contradict each other.
JOINED: Final = ("notes", "photos", "measured_by", "measured_on")
#: Two rows of one site that differ by less than this share agree.
SAME: Final = 1e-6
#: What can be, of each measure.
LIMITS: Final = {
    "width": "revise.width",
    "depth": "revise.depth",
    "bankfull_depth": "revise.bankfull_depth",
    "drop": "revise.drop",
    "slope": "revise.slope",
}
#: A point that lies nearer than this to its site was not moved, m.
UNMOVED_M: Final = 0.01
#: What a value that is set aside is shown with, at most.
_SHOWN = 60


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a row comes from: the revision, from 1, its file, and the row in it."""

    revision: int
    source: str
    row: int


@dataclass(frozen=True, slots=True)
class SetAside:
    """A value that is not used.

    Parameters
    ----------
    origin
        Its row.
    site
        Number of the site as given.
    column, given
        Column and text; empty for the whole row.
    kind
        ``unknown``, ``conflicting``, ``impossible`` or ``unread``.
    reason
        A sentence.
    """

    origin: Origin
    site: str
    column: str
    given: str
    kind: str
    reason: str


@dataclass(frozen=True, slots=True)
class FieldSite:
    """What is known from the field about one site; NaN and '' for nothing.

    Parameters
    ----------
    width_m, depth_m, bankfull_depth_m, drop_m, slope
        Measures.
    x_m, y_m
        Position measured.
    decision
        One of `DECISIONS`.
    soil, notes, photos, measured_by, measured_on
        As given.
    origins
        Row of each of these, by name.
    doubts
        What was measured and cannot be, by name: its row, and why. It goes when the same is
        measured again.
    """

    width_m: float = math.nan
    depth_m: float = math.nan
    bankfull_depth_m: float = math.nan
    drop_m: float = math.nan
    slope: float = math.nan
    x_m: float = math.nan
    y_m: float = math.nan
    decision: str = ""
    soil: str = ""
    notes: str = ""
    photos: str = ""
    measured_by: str = ""
    measured_on: str = ""
    origins: Mapping[str, tuple[Origin, str, str]] = field(default_factory=dict)
    doubts: Mapping[str, tuple[Origin, str]] = field(default_factory=dict)

    @property
    def measured(self) -> bool:
        """Whether any measure is there."""
        return any(math.isfinite(getattr(self, field_of(what))) for what in MEASURES)

    @property
    def said(self) -> bool:
        """Whether anything at all is there that changes a plan."""
        return self.measured or bool(self.decision)

    def doubted(self, what: str, origin: Origin, why: str) -> FieldSite:
        """Return it with one more measure that cannot be."""
        return replace(self, doubts={**self.doubts, what: (origin, why)})

    def without(self, what: str) -> FieldSite:
        """Return it without one measure or decision."""
        origins = {k: v for k, v in self.origins.items() if k != what}
        empty: float | str = "" if what in TEXTS else math.nan
        return replace(self, **{field_of(what): empty, "origins": origins})  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class Planned:
    """What checks read of a planned site: is it at a drop or on a road, and where."""

    has_drop: bool
    x_m: float
    y_m: float
    on_road: bool = False


def fault_of(
    what: str, value: float | str, text: str, planned: Planned, rules: Rules
) -> tuple[str, str]:
    """Kind and reason of what is wrong with one value by itself; empty where nothing is."""
    if what == "decision":
        if str(value).lower() in DECISIONS:
            return "", ""
        known = ", ".join(DECISIONS)
        return UNREAD, f"'{shortened(text)}' is no decision; expected one of {known}."
    if isinstance(value, str):
        return "", ""
    if not math.isfinite(value):
        return UNREAD, f"'{shortened(text)}' is no finite number with a unit that is known."
    why = "" if what in ("x", "y") else _why_impossible(what, value, planned, rules)
    return (IMPOSSIBLE, why) if why else ("", "")


def _why_impossible(what: str, value: float, planned: Planned, rules: Rules) -> str:
    """Why no such measure can be, or not at this site; empty where it can."""
    limit = rules[LIMITS[what]]
    if not limit.low <= value <= limit.high:
        hint = (
            " For percent, name the column measured_slope_pct or write the sign."
            if what == "slope" and value > limit.high
            else ""
        )
        given, low, high = (_said(what, v) for v in (value, limit.low, limit.high))
        span = f"{low.partition(' ')[0]} to {high}"
        return f"A {what.replace('_', ' ')} of {given} is outside {span}.{hint}"
    if planned.on_road and what != "slope":
        return "The site stands on a road: only the slope of the road can be measured."
    if what == "drop" and not planned.has_drop:
        return "The site stands at no drop: a drop has no place here."
    return ""


def _said(what: str, value: float) -> str:
    return f"{value:.3g}" if what == "slope" else exactly(value, "m")


def field_of(what: str) -> str:
    """Field of `FieldSite` that holds a value."""
    return what if what in ("slope", *TEXTS) else f"{what}_m"


def shortened(text: str) -> str:
    """Shorten a text for a sentence; the whole of it is kept with its row."""
    return text if len(text) <= _SHOWN else f"{text[: _SHOWN - 1]}…"
