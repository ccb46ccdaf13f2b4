"""Logs held down against floating and sliding, worked by hand."""

import math
from dataclasses import fields
from typing import Any

import pytest

from siting.hydraulics.wood import HoldDown, LogRow, hold_down, species, submerged_n, wood
from siting.values.input_errors import RulesError
from siting.values.settings_file import number
from terrain.values.errors import ParameterError

FT = 0.3048
LB = 4.448222  # newtons


def held(**changes: float | str) -> HoldDown:
    """Five logs of a mat in half a metre of water; some values changed."""
    row: dict[str, Any] = {"diameter_m": 0.2, "length_m": 2.0, "count": 5, "density_kg_m3": 448.0}
    water: dict[str, Any] = {"depth_m": 0.5, "velocity_mps": 1.5}
    of_row = {f.name for f in fields(LogRow)}
    row |= {k: v for k, v in changes.items() if k in of_row}
    water |= {k: v for k, v in changes.items() if k not in of_row}
    return hold_down(LogRow(**row), **water)


def test_a_dry_log_weighs_its_wood_and_twelve_per_cent_of_water() -> None:
    for one in species().values():
        assert one.density_kg_m3 == pytest.approx(1120 * one.specific_gravity_dry)
        assert one.density_kg_m3 < one.green_density_kg_m3, one.name


def test_wood_by_name() -> None:
    assert wood(" ponderosa PINE").name == "ponderosa pine"
    with pytest.raises(ParameterError, match=r"wood 'balsa'.*Gambel oak"):
        wood("balsa")


def test_a_missing_number_is_named() -> None:
    with pytest.raises(RulesError, match=r"wood\.toml: oak has no moisture_pct"):
        number({}, "moisture_pct", "wood.toml: oak")


def test_uplift_lg_1() -> None:
    """Computed: a log of 1 ft by 10 ft at 450 kg/m3, under water, lifts with 269.5 lb."""
    log = held(diameter_m=FT, length_m=10 * FT, count=1, density_kg_m3=450)
    assert math.pi / 4 * 10 == pytest.approx(7.854, abs=0.001)
    assert log.uplift_n / LB == pytest.approx(269.5, abs=0.5)


def test_uplift_lg_2() -> None:
    """Computed: the same log at 310 and 380 kg/m3."""
    for density, expected in ((310, 338.2), (380, 303.9)):
        log = held(diameter_m=FT, length_m=10 * FT, count=1, density_kg_m3=density)
        assert log.uplift_n / LB == pytest.approx(expected, abs=0.5)


def test_uplift_lg_3() -> None:
    """Computed: a log of 0.3 m by 3 m at 450 kg/m3 lifts with 1144 N."""
    log = held(diameter_m=0.3, length_m=3, count=1, density_kg_m3=450)
    assert log.uplift_n == pytest.approx(1144, abs=2)


def test_a_log_half_in_water_is_lifted_by_half_of_it() -> None:
    """Computed: at a depth of half the diameter, half the log's volume displaces water."""
    half = held(depth_m=0.1, density_kg_m3=400, velocity_mps=0)
    volume = 5 * math.pi / 4 * 0.2**2 * 2.0
    assert half.uplift_n == pytest.approx(9810 * volume * (0.5 - 0.4))
    assert held(depth_m=0.2, density_kg_m3=400).uplift_n == pytest.approx(9810 * volume * 0.6)
    assert held(depth_m=3.0, density_kg_m3=400).uplift_n == pytest.approx(9810 * volume * 0.6)


def test_ballast_counts_by_its_weight_under_water() -> None:
    """Computed by hand: five logs at 448 kg/m3 in still water, factor 1.5, stone of 2650."""
    still = held(velocity_mps=0)
    lifted = 9.81 * (1000 - 448) * 5 * math.pi / 4 * 0.2**2 * 2.0
    assert still.uplift_n == pytest.approx(lifted)
    assert still.ballast_kg == pytest.approx(1.5 * lifted / 9.81 * 2650 / 1650)
    assert still.factor == pytest.approx(1.5)
    assert submerged_n(still.ballast_kg / 2650, 2650) == pytest.approx(1.5 * lifted)
    assert held(velocity_mps=0, stone_density=2400).ballast_kg > still.ballast_kg


def test_drag_on_the_front_that_the_water_meets() -> None:
    """Computed: 0.5 Cd rho A V^2; ends of the logs when they lie along, sides when across."""
    along, across = held(), held(lie="across")
    assert along.drag_n == pytest.approx(0.5 * 1.2 * 1000 * 5 * 0.2 * 0.2 * 1.5**2)
    assert across.drag_n == pytest.approx(0.5 * 1.2 * 1000 * 5 * 0.2 * 2.0 * 1.5**2)
    assert held(depth_m=0.1).drag_n == pytest.approx(along.drag_n / 2)


def test_sliding_decides_in_fast_water() -> None:
    fast = held(velocity_mps=5.0)
    pressed = submerged_n(fast.ballast_kg / 2650, 2650) - fast.uplift_n
    assert 0.5 * pressed == pytest.approx(1.5 * fast.drag_n)
    assert fast.factor == pytest.approx(1.5)
    assert any("Sliding decides" in note for note in fast.notes)
    assert any("Floating decides" in note for note in held(velocity_mps=0.2).notes)


def test_posts_count_only_with_a_tested_hold() -> None:
    bare = held()
    assert any("no credit" in note for note in bare.notes)
    anchored = held(anchor_n=500.0)
    assert anchored.ballast_kg < bare.ballast_kg
    assert anchored.resisting_n == 500.0
    enough = held(anchor_n=50_000.0)
    assert enough.ballast_kg == 0
    assert enough.factor > enough.factor_wanted
    assert any("No stone beyond" in note for note in enough.notes)


def test_fill_replaces_ballast_by_its_weight_under_water() -> None:
    fill_n = submerged_n(0.1, 2650)
    saved = held().ballast_kg - held(fill_n=fill_n).ballast_kg
    assert saved == pytest.approx(0.1 * 2650)


def test_wood_that_sinks_needs_no_ballast_in_still_water() -> None:
    oak = held(density_kg_m3=wood("Gambel oak").green_density_kg_m3, velocity_mps=0)
    assert (oak.uplift_n, oak.ballast_kg, oak.factor) == (0, 0, math.inf)


def test_green_logs_need_less_than_dry_ones() -> None:
    pine = wood("ponderosa pine")
    green = held(density_kg_m3=pine.green_density_kg_m3)
    assert green.ballast_kg < held(density_kg_m3=pine.density_kg_m3).ballast_kg


@pytest.mark.parametrize(
    "wrong",
    [
        {"diameter_m": 0},
        {"count": 0},
        {"density_kg_m3": float("nan")},
        {"depth_m": -0.1},
        {"velocity_mps": float("inf")},
        {"fill_n": -1},
        {"anchor_n": -1},
        {"friction": 0},
        {"factor": 0.9},
        {"stone_density": 900},
        {"lie": "upright"},
    ],
)
def test_what_cannot_be_is_refused(wrong: dict[str, float | str]) -> None:
    with pytest.raises(ParameterError, match="expected"):
        held(**wrong)
