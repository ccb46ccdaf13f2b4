"""Short lengths in US units: inches below a foot, the same in sentences and in fields."""

from __future__ import annotations

import pytest
from cli.plan.inches import in_inches, inches

from cli.plan.plan_numbers import amount, in_column, number_and_unit, span
from cli.plan.unit_sentences import in_units


@pytest.mark.parametrize(
    ("length_m", "told"),
    [(0.10, "4 in"), (0.15, "6 in"), (0.19, "7.5 in"), (0.30, "12 in"), (0.02, "0.79 in")],
)
def test_a_short_length_reads_the_same_everywhere(length_m: float, told: str) -> None:
    assert in_inches(length_m)
    assert f"{inches(length_m)} in" == told
    assert amount("sites", "structure_height_m", length_m, "us") == told
    assert number_and_unit(length_m, "m", "us") == told
    assert in_units(f"a crest of {length_m:.2f} m", "us") == f"a crest of {told}"
    assert in_units(f"stone of {100 * length_m:.0f} cm", "us") == f"stone of {told}"


def test_from_a_foot_on_lengths_are_in_feet() -> None:
    assert not in_inches(0.3048)
    assert amount("sites", "structure_height_m", 0.9144, "us") == "3.0 ft"
    assert number_and_unit(0.6096, "m", "us") == "2.0 ft"


def test_metres_stay_metres() -> None:
    assert amount("sites", "structure_height_m", 0.1, "si") == "0.10 m"
    assert number_and_unit(0.1, "m", "si") == "0.10 m"


def test_a_column_keeps_the_unit_of_its_head() -> None:
    assert in_column("hydraulics", "depth_m", 0.1, "us") == "0.33"
    assert in_column("hydraulics", "depth_m", float("nan"), "us") == "-"


def test_a_span_names_both_units_where_they_differ() -> None:
    assert span(0.2, 0.6096, "us") == "8 in to 2.0 ft"
    assert span(3.048, 6.096, "us") == "10 to 20 ft"
