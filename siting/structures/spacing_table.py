"""The spacing rules that apply to one structure at one slope, side by side, one of them chosen."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from siting.structures.spacing import (
    COMPENSATION_SLOPE,
    channel_widths_m,
    compensation_m,
    head_to_toe_m,
    heede_mufich_m,
    one_rock_spacing_m,
    wedge_m,
)
from siting.values.rules import Rules

HEAD_TO_TOE = "head to toe"
WEDGE = "deposit wedge"
WIDTHS = "channel widths"
COMPENSATION = "compensation slope"
HEEDE = "Heede and Mufich"
DEFAULT = "widths between head to toe and wedge"
#: Rules of low structures that hold a bed: one-rock dams, log mats, wicker weirs.
LOW_GRADE_CONTROL = (WIDTHS, HEAD_TO_TOE, WEDGE, COMPENSATION)


@dataclass(frozen=True, slots=True)
class SpacingRow:
    """What one rule says.

    Parameters
    ----------
    rule
        Its name.
    low_m, high_m
        Shortest and longest distance along the bed to the next one, m; infinite on a level bed.
    chosen
        Whether the plan follows it.
    source, basis, note
        Where it comes from, what kind of source that is, and what to know about it.
    """

    rule: str
    low_m: float
    high_m: float
    chosen: bool
    source: str
    basis: str
    note: str


@dataclass(frozen=True, slots=True)
class _Given:
    height_m: float
    slope: float
    width_m: float
    rules: Rules


_Row = Callable[[_Given], tuple[float, float, str, str, str]]


def _widths(g: _Given) -> tuple[float, float, str, str, str]:
    limit = g.rules["grade_control.spacing_widths"]
    low, high = channel_widths_m(g.width_m, low=limit.low, high=limit.high)
    return float(low), float(high), limit.source, limit.basis, limit.meaning


def _head_to_toe(g: _Given) -> tuple[float, float, str, str, str]:
    at = float(head_to_toe_m(g.height_m, g.slope))
    source = "US Environmental Protection Agency and state best-practice manuals for check dams"
    return at, at, source, "published", "The foot of the upper one level with the lower crest"


def _wedge(g: _Given) -> tuple[float, float, str, str, str]:
    limit = g.rules["grade_control.wedge_share"]
    at = float(wedge_m(g.height_m, g.slope, k=limit.value))
    note = f"Deposits that take {100 * limit.value:.0f} % of the bed slope meet the next one"
    return at, at, limit.source, limit.basis, note


def _compensation(g: _Given) -> tuple[float, float, str, str, str]:
    at = float(compensation_m(g.height_m, g.slope))
    source = "Geyik 1986, FAO Conservation Guide 13/2"
    return at, at, source, "from memory", "Only above 3 %: deposits at 3 %"


def _heede(g: _Given) -> tuple[float, float, str, str, str]:
    at = float(heede_mufich_m(g.height_m, g.slope))
    source = "Heede and Mufich 1973, in USDA Forest Service Research Paper RM-169"
    return at, at, source, "from memory", "For loose-rock check structures"


_RULES: dict[str, _Row] = {
    WIDTHS: _widths,
    HEAD_TO_TOE: _head_to_toe,
    WEDGE: _wedge,
    COMPENSATION: _compensation,
    HEEDE: _heede,
}


def spacing_rows(
    names: Iterable[str], *, height_m: float, slope: float, width_m: float, rules: Rules
) -> tuple[SpacingRow, ...]:
    """Work out the rules that apply, and the default last, marked as chosen.

    Parameters
    ----------
    names
        Rules of the structure type; one that is not defined at this slope is left out.
    height_m, slope, width_m
        Height of the structure, bed slope and bankfull width.
    rules
        Limits.
    """
    given = _Given(height_m, slope, width_m, rules)
    rows = []
    for name in names:
        if name == COMPENSATION and slope <= COMPENSATION_SLOPE:
            continue
        low, high, source, basis, note = _RULES[name](given)
        rows.append(SpacingRow(name, low, high, False, source, basis, note))
    if rows:
        at = default_spacing_m(height_m, slope, width_m, rules)
        note = "The middle of the widths, never closer than head to toe nor wider than the wedge"
        source = "no published source"
        rows.append(SpacingRow(DEFAULT, at, at, True, source, "common practice", note))
    return tuple(rows)


def default_spacing_m(height_m: float, slope: float, width_m: float, rules: Rules) -> float:
    """Spacing that a series follows; see `siting.structures.spacing.one_rock_spacing_m`."""
    widths = rules["grade_control.spacing_widths"]
    return float(
        one_rock_spacing_m(
            height_m,
            slope,
            width_m=np.float64(width_m),
            widths=(widths.low, widths.high),
            k=rules.value("grade_control.wedge_share"),
        )
    )
