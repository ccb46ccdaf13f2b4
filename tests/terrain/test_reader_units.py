from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.values.parallel import over_items
from terrain.values.reader_units import (
    FOOT_M,
    INCHES_BELOW_M,
    US_WORDS,
    Units,
    between,
    exactly,
    figures,
    inches,
    quantity,
    telling_in,
    told_in,
)


@pytest.mark.parametrize(
    ("value", "unit", "si", "us"),
    [
        (0.9, "m", "0.90 m", "3.0 ft"),
        (0.8053, "m", "0.81 m", "2.6 ft"),  # 0.81 m would be 2.7 ft
        (29.65, "ha", "30 ha", "73 acres"),  # 30 ha would be 74 acres
        (0.1, "m", "0.10 m", "4 in"),
        (0.114, "m", "0.11 m", "4.5 in"),
        (0.3, "m", "0.30 m", "12 in"),
        (0.02, "m", "0.020 m", "0.8 in"),
        (0.6096, "m", "0.61 m", "2.0 ft"),
        (0.0, "m", "0 m", "0 ft"),
        (-0.2, "m", "-0.20 m", "-8 in"),
        (123.4, "m", "123 m", "405 ft"),
        (2400.0, "m", "2.4 km", "1.5 miles"),
        (0.0123, "m3/s", "0.012 m3/s", "0.43 cfs"),
        (23.0, "kg", "23 kg", "51 lb"),
        (math.nan, "m", "unknown m", "unknown ft"),
        (7.0, "pieces", "7.0 pieces", "7.0 pieces"),
    ],
)
def test_a_quantity_is_rounded_once_in_the_unit_of_its_reader(
    value: float, unit: str, si: str, us: str
) -> None:
    assert quantity(value, unit) == si
    assert quantity(value, unit, units="us") == us
    with told_in("us"):
        assert quantity(value, unit) == us
        assert quantity(value, unit, units="si") == si


def test_what_was_given_keeps_its_figures_and_its_unit() -> None:
    assert (exactly(1.0, "m"), exactly(0.914, "m")) == ("1 m", "0.914 m")
    assert exactly(0.3, "m", units="us") == "0.984 ft"
    assert quantity(0.3, "m", units="us", digits=2) == "0.98 ft"
    assert quantity(2064.7, "m", units="us", digits=5) == "6774.0 ft"


def test_a_range_has_its_unit_once_unless_the_ends_differ() -> None:
    assert between(1.0, 2.0, "m") == "1.0 to 2.0 m"
    assert between(1.0, 2.0, "m3", units="us") == "1.3 to 2.6 cu yd"
    assert between(0.3, 2.0, "m", units="us", join=" and ") == "12 in and 6.6 ft"


def test_units_hold_within_their_block_only_even_where_it_fails() -> None:
    def failing() -> None:
        with told_in("us"):
            assert telling_in() == "us"
            raise ValueError("within")

    with pytest.raises(ValueError, match="within"):
        failing()
    assert telling_in() == "si"


def test_units_hold_for_every_worker(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("terrain.values.parallel.workers", lambda: 3)
    with told_in("us"):
        assert set(over_items(lambda _: quantity(1.0, "m"), list(range(20)))) == {"3.3 ft"}
    assert set(over_items(lambda _: quantity(1.0, "m"), list(range(20)))) == {"1.0 m"}


def _bounds(figure: str) -> tuple[float, float]:
    """Least and greatest number that a figure may stand for."""
    figure = figure.replace(",", "")
    point = figure.rpartition(".")[2] if "." in figure else ""
    half = 0.5 * 10.0 ** -len(point)
    if not point:
        half *= 10.0 ** (len(figure) - max(len(figure.rstrip("0")), 2))
    return float(figure) - half, float(figure) + half


@given(
    st.floats(1e-4, 1e6),
    st.sampled_from(sorted(US_WORDS)),
    st.sampled_from(["si", "us"]),
    st.sampled_from([None, 2, 3]),
)
def test_no_figure_is_further_from_its_value_than_half_of_its_last_digit(
    value: float, unit: str, units: Units, digits: int | None
) -> None:
    text = quantity(value, unit, units=units, digits=digits)
    figure, _, name = text.partition(" ")
    back = {"in": FOOT_M / 12, "km": 1000.0, "miles": 1609.344, "ft": FOOT_M, "m": 1.0}
    if unit in ("m", "km"):
        turned = value * (1000.0 if unit == "km" else 1.0) / back[name]
    else:
        turned = value if units == "si" else value * US_WORDS[unit][1]
    low, high = _bounds(figure)
    if name == "in" and unit in ("m", "cm"):
        half = 0.05 if turned < 1 else 0.25 if turned < 10 else 0.5
        low, high = float(figure) - half, float(figure) + half
    slack = 1e-9 * max(abs(turned), 1e-9)
    assert low - slack <= turned <= high + slack, text


@given(st.floats(1e-3, 1e5))
def test_a_figure_does_not_turn_on_the_way_through_feet_and_back(value: float) -> None:
    assert figures(value) == figures(value / FOOT_M * FOOT_M)


@given(st.floats(0.01, 24.0))
def test_inches_read_like_a_folding_rule(value: float) -> None:
    assert re.fullmatch(r"0\.\d{1,2}|\d\.5|\d+", inches(value))


def test_feet_take_over_from_inches_at_two() -> None:
    below = quantity(np.nextafter(INCHES_BELOW_M, 0), "m", units="us")
    assert (below, quantity(INCHES_BELOW_M, "m", units="us")) == ("24 in", "2.0 ft")
