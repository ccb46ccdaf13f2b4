"""Reaches that may be filling again: listed with what speaks for it, and left without a series."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from siting.channels.channel_reading import ChannelReading, read_stations
from siting.channels.ground import Ground
from siting.channels.reach_settings import CUT_SETTINGS, SWALES, agreed
from siting.layout.healing import healing_note, healing_reaches, healing_stations
from siting.layout.proposals import Placing
from siting.layout.series import STAGES, place_series
from siting.record.feature_tables import look_first_table
from siting.record.screening_notes import cautions_of
from tests.siting.conftest import RAIN, placed_by, sites_on, trials_on

#: An incised reach without a headcut.
LONG = {"drop_m": 0.8, "head_m": 400.0}


@pytest.fixture(scope="module")
def trench(measured, gully) -> Ground:
    return measured(gully(**LONG))


@pytest.fixture(scope="module")
def reading(trench: Ground) -> ChannelReading:
    trials = trials_on(trench, RAIN, None)
    return read_stations(trench, q2_m3s=trials.gauge.peak(trench.stations.cell, 2.0))


def staged(reading: ChannelReading, where: np.ndarray, stage: int) -> ChannelReading:
    stages, sure = reading.stage.copy(), reading.stage_confidence.copy()
    stages[where], sure[where] = stage, 0.5
    return replace(reading, stage=stages, stage_confidence=sure)


def series(ground: Ground, reading: ChannelReading) -> Placing:
    return place_series(trials_on(ground, RAIN, None), reading, ())


def test_a_reach_that_fills_gets_no_series_and_is_listed(trench, reading) -> None:
    before = series(trench, reading)
    assert before.proposals
    assert before.look_first == ()
    s = trench.stations
    cut = np.isin(reading.setting, CUT_SETTINGS)
    for stage in (4, 5):
        found = series(trench, staged(reading, cut, stage))
        assert found.proposals == ()
        assert found.look_first
        for reach in found.look_first:
            assert reach.stage == stage
            assert reach.length_m >= trench.rules.value("series.length")
            assert (np.diff(np.hypot(np.diff(reach.x_m), np.diff(reach.y_m))) < 50).all()
            assert f"Stage {stage} of 5, confidence 0.50" in reach.evidence
            assert "One raster cannot prove" in reach.evidence
            inside = (s.reach == reach.reach) & (s.station_m >= reach.low_m)
            inside &= s.station_m <= reach.high_m
            assert reach.bank_depth_m == pytest.approx(np.nanmedian(s.bank_depth_m[inside]))


def test_a_series_goes_on_where_the_filling_ends(trench, reading) -> None:
    cut = np.isin(reading.setting, CUT_SETTINGS)
    lower = cut & (trench.stations.station_m < 120)
    found = series(trench, staged(reading, lower, 4))
    assert len(found.look_first) == 1
    assert found.look_first[0].high_m < 125
    assert found.proposals
    assert min(p.where.station_m for p in found.proposals) > 105


def test_single_sections_with_a_bench_do_not_make_a_reach_heal(trench, reading) -> None:
    cut = np.flatnonzero(np.isin(reading.setting, CUT_SETTINGS))
    few = staged(reading, cut[::4], 4)
    assert not healing_stations(trench, few).any()
    most = staged(reading, cut[np.arange(cut.size) % 4 > 0], 4)
    assert healing_stations(trench, most)[cut].mean() > 0.9


def test_what_widens_on_gets_no_series_and_it_is_said(measured, gully, rules_with) -> None:
    ground = measured(gully(**LONG), rules=rules_with(series__width_depth=1.0))
    trials = trials_on(ground, RAIN, None)
    own = read_stations(ground, q2_m3s=trials.gauge.peak(ground.stations.cell, 2.0))
    found = series(ground, own)
    assert found.proposals == ()
    assert any("more than 1 times as wide as deep" in note for note in found.notes)


def test_a_series_stands_only_at_its_stages(trench, reading) -> None:
    placed = placed_by(trials_on(trench, RAIN, None), series(trench, reading))
    assert placed.places
    assert {p.spot.form.stage for p in placed.places} <= set(STAGES)


def test_settings_and_stages_do_not_contradict_each_other() -> None:
    settings = np.array([*SWALES, "fan", *CUT_SETTINGS, ""], dtype=object)
    given = np.repeat(settings, 6)
    stages = np.tile(np.arange(6), settings.size)
    setting, stage, sure = agreed(given, stages, np.where(stages > 0, 0.5, 0.0))
    assert (stage[np.isin(setting, SWALES)] <= 1).all()
    assert (stage[setting == "fan"] <= 1).all()
    assert (stage[np.isin(setting, CUT_SETTINGS)] != 1).all()
    assert np.isin(stage[setting == "widening reach"], (0, 3)).all()
    # what the stretch alone tells stays, and so does what does not contradict it
    assert (setting[given == ""] == "").all()
    np.testing.assert_array_equal(stage[given == ""], np.arange(6))
    np.testing.assert_array_equal(stage[given == "incised channel"], [0, 0, 2, 3, 4, 5])
    assert (sure[stage == 0] == 0).all()


def test_they_are_a_layer_and_a_caution_of_the_plan(trench, reading) -> None:
    cut = np.isin(reading.setting, CUT_SETTINGS)
    own = staged(reading, cut, 4)
    reaches = healing_reaches(trench, own, healing_stations(trench, own))
    table = look_first_table(reaches, crs=None)
    assert len(table.geometry) == len(reaches) > 0
    assert (np.diff(table.columns["length_m"]) <= 0).all()
    for line, length in zip(table.geometry, table.columns["length_m"], strict=True):
        # stations count along the cells' way, which is longer than the smoothed line
        assert 0.8 * length <= line.length <= 1.01 * length
    sites, _ = sites_on(trench)
    assert sites.look_first == ()
    with_them = replace(sites, look_first=reaches)
    assert with_them.take(np.array([0])).look_first == reaches
    floods = trials_on(trench, RAIN, None).gauge.settings
    told = [c for c in cautions_of(trench, with_them, floods) if "Look first" in c]
    assert told == [healing_note(reaches)]
    assert "No series is proposed there" in told[0]
    assert not any("Look first" in c for c in cautions_of(trench, sites, floods))
