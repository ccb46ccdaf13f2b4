"""Spreaders where gullies end."""

from __future__ import annotations

import numpy as np

from siting.layout.fans import place_spreaders
from siting.layout.proposals import Spots
from tests.siting.conftest import cautions_of, placed_by, trials_on

ENDS = {"drop_m": 0.7, "bed_slope": 0.013}


def spreaders(ground):
    trials = trials_on(ground)
    return placed_by(trials, place_spreaders(trials, ()))


def test_a_gully_that_runs_out_gets_a_spreader_at_its_end(measured, gully) -> None:
    """The bed is flatter than the valley and meets its floor 100 m below the head."""
    ground = measured(gully(**ENDS))
    [place] = spreaders(ground).places
    assert (place.control, place.structure) == ("spread", "crescent spreader")
    _, y = ground.raster.grid.xy_of(place.where.cell)
    assert 90 < float(y) < 150
    said = " ".join(cautions_of(place))
    assert "level to 0.050 m" in said
    assert "one band is not enough" in said  # more than 2 ha drain to it


def test_a_gully_that_goes_on_gets_none(measured, gully) -> None:
    assert spreaders(measured(gully(drop_m=0.7))).places == []


def test_steep_ground_gets_none(measured, gully) -> None:
    assert spreaders(measured(gully(drop_m=0.7, slope=0.05, bed_slope=0.043))).places == []


def test_too_much_water_is_told_instead(measured, gully, rules_with) -> None:
    ground = measured(gully(**ENDS), rules=rules_with(spreader__drainage_area=(0.5, 1.0)))
    placed = spreaders(ground)
    assert placed.places == []
    assert "too much to spread by hand" in placed.notes[0]


def test_without_a_sure_headcut_above_there_is_none(measured, gully, rules_with) -> None:
    ground = measured(gully(**ENDS), rules=rules_with(measuring__least_confidence=2.0))
    assert spreaders(ground).places == []


def test_none_outside_the_ranch_or_where_the_area_is_cut_off(measured, gully) -> None:
    raster = gully(**ENDS)
    ranch = np.zeros(raster.grid.shape, bool)
    ranch[:150] = True
    assert spreaders(measured(raster, ranch=ranch)).places == []
    assert spreaders(measured(gully(**ENDS, ridge=False))).places == []


def test_spots_keep_their_distance() -> None:
    rng = np.random.default_rng(5)
    spots, taken = Spots(7.0), []
    for x, y in rng.uniform(-50, 50, (400, 2)):
        near = any(np.hypot(a - x, b - y) < 7.0 for a, b in taken)
        assert spots.clear(x, y) == (not near)
        if not near:
            spots.add(x, y)
            taken.append((x, y))
    assert 20 < len(taken) < 400
