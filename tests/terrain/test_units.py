"""Feet and metres: names, factors, and stopping where a unit would be a guess."""

from __future__ import annotations

import pytest

from terrain.values.errors import ParameterError, VerticalUnitError
from terrain.values.highest_ground import HIGHEST_ELSEWHERE_M, HIGHEST_ON_EARTH_M, highest_ground_m
from terrain.values.units import (
    METRES_PER,
    HeightFacts,
    StatedUnits,
    check_unit,
    settle_vertical_unit,
    unit_from_factor,
    unit_from_name,
)

COLORADO = (-104.3, 39.57)
KANSAS = (-98.0, 38.5)


def test_the_two_feet_are_those_of_their_definitions() -> None:
    # 0.3048 m exactly, and 1200/3937 m (24 FR 5348, 1959).
    assert METRES_PER["ft"] == 0.3048
    assert METRES_PER["us-ft"] * 3937 == pytest.approx(1200, abs=1e-12)
    assert METRES_PER["us-ft"] / METRES_PER["ft"] - 1 == pytest.approx(2e-6, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "unit"),
    [("metre", "m"), (" M ", "m"), ("Foot", "ft"), ("US survey foot", "us-ft"), ("ftUS", "us-ft")],
)
def test_units_are_known_by_their_usual_names(text: str, unit: str) -> None:
    assert unit_from_name(text) == unit


@pytest.mark.parametrize("text", ["", None, "cm", "fathom"])
def test_other_names_are_not_taken_for_a_unit(text: str | None) -> None:
    assert unit_from_name(text) is None


def test_a_factor_tells_the_two_feet_apart() -> None:
    assert unit_from_factor(0.3048) == "ft"
    assert unit_from_factor(0.304800609601219) == "us-ft"
    assert unit_from_factor(1) == "m"
    assert unit_from_factor(0.01) is None


def test_an_unknown_option_is_refused_with_the_choices() -> None:
    with pytest.raises(ParameterError, match="'yards'; expected one of m, ft, us-ft"):
        check_unit("yards")


def settle(stated: StatedUnits, high: float = 1700.0, **facts: object) -> tuple[str, str]:
    place = facts.get("place", COLORADO)
    slope = facts.get("median_slope", 0.1)
    unit, notes = settle_vertical_unit(stated, HeightFacts(high, slope, place), name="a.tif")  # type: ignore[arg-type]
    return unit, " ".join(notes)


def test_nothing_stated_and_believable_means_metres_and_says_so() -> None:
    unit, said = settle(StatedUnits())
    assert unit == "m"
    assert "does not say the unit" in said


def test_stated_feet_are_used_and_said() -> None:
    assert settle(StatedUnits(band="ft"), 5600.0) == (
        "ft",
        "Heights turned from international feet into metres.",
    )
    assert settle(StatedUnits(crs="us-ft"), 5600.0)[0] == "us-ft"


def test_the_option_wins_over_the_file_and_says_so() -> None:
    unit, said = settle(StatedUnits(option="m", band="ft"))
    assert unit == "m"
    assert "The file says its heights are in international feet; taken as metres, as asked." in said
    assert settle(StatedUnits(option="ft", band="furlong"))[0] == "ft"


def test_a_file_that_contradicts_itself_stops() -> None:
    with pytest.raises(VerticalUnitError, match=r"heights in US survey feet, its band says metres"):
        settle(StatedUnits(crs="us-ft", band="m"))


def test_heights_above_all_ground_of_the_place_stop() -> None:
    with pytest.raises(VerticalUnitError, match=r"reach 5,600 where no ground is above about"):
        settle(StatedUnits(), 5600.0)
    # 1500 ft in Kansas is 457 m; no ground in Kansas is at 1500 m.
    with pytest.raises(VerticalUnitError, match="say which vertical unit"):
        settle(StatedUnits(), 1500.0, place=KANSAS)
    assert settle(StatedUnits(), 1200.0, place=KANSAS)[0] == "m"


def test_metres_stated_but_impossible_stop_too() -> None:
    with pytest.raises(VerticalUnitError, match="look like feet"):
        settle(StatedUnits(band="m"), 6200.0)


def test_a_map_in_feet_with_unstated_heights_stops() -> None:
    with pytest.raises(VerticalUnitError, match="its map is in feet"):
        settle(StatedUnits(horizontal_feet=True))
    assert settle(StatedUnits(horizontal_feet=True, band="us-ft"))[0] == "us-ft"


def test_impossible_steepness_stops() -> None:
    with pytest.raises(VerticalUnitError, match="half of the ground would be steeper than 150 %"):
        settle(StatedUnits(), median_slope=1.5)
    assert settle(StatedUnits(), median_slope=0.9)[0] == "m"


@pytest.mark.parametrize(
    ("place", "high"),
    [
        ((-121.76, 46.85), 4392),  # Mount Rainier
        ((-105.0, 38.84), 4302),  # Pikes Peak
        ((86.93, 27.99), 8849),  # Mount Everest
        ((-70.0, -32.65), 6961),  # Aconcagua
        ((6.87, 45.83), 4808),  # Mont Blanc
        ((-151.0, 63.07), 6190),  # Denali
        ((-97.27, 19.03), 5636),  # Pico de Orizaba
        ((-81.98, 26.5), 20),
    ],
)
def test_real_peaks_are_not_above_the_limits(place: tuple[float, float], high: float) -> None:
    assert high <= highest_ground_m(place)


def test_limits_are_tight_where_ground_is_low() -> None:
    assert highest_ground_m((-93.6, 42.0)) < 600  # Iowa
    assert highest_ground_m((140.0, -28.0)) == HIGHEST_ELSEWHERE_M
    assert highest_ground_m(None) == HIGHEST_ON_EARTH_M
