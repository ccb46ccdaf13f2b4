"""Gullies as features of a screening: their heads, their channel, and which channels are cut."""

from __future__ import annotations

import functools

import numpy as np
import pytest
import shapely

from cli.plan.fields import schema
from siting.channels.gullies import gully_limits, incision_limits
from siting.record.gully_rows import gully_note
from siting.screening import Screening, screen
from siting.values.rules import load_rules
from terrain.incision.gully_shapes import GullyLimits
from terrain.incision.incised_ground import IncisionLimits
from terrain.values.raster import Raster


@functools.cache
def screened(*, cut: bool = True, cell_m: float = 1.0) -> Screening:
    """A trough 300 m long, cut from row 120 down by a gully whose head is 1.5 m high."""
    rows, cols = np.indices((300, 160)).astype(float)
    away = np.abs(cols - 80 - 5 * np.sin(rows / 25))
    z = 60 - 0.03 * rows + 0.08 * np.abs(cols - 80)
    if cut:
        z -= np.where(rows >= 120, 1.5 * np.clip((4 - away) / 2, 0, 1), 0)
    z += 0.02 * np.random.default_rng(6).standard_normal(z.shape)
    return screen(Raster.from_array(z, cell_m=cell_m))


def test_the_layer_holds_the_gully_with_its_head() -> None:
    found = screened()
    columns = found.gullies.columns
    assert len(found.gullies.geometry) == 1
    assert set(columns) <= set(schema("gullies"))
    assert columns["heads"][0] >= 1
    heads = [int(n) for n in str(columns["head_ids"][0]).split(", ")]
    assert len(heads) == columns["heads"][0]
    lips = found.headcuts.geometry[np.array(heads) - 1]
    assert (shapely.distance(lips, found.gullies.geometry[0]) <= 6).all()
    assert columns["void_low_m3"][0] < columns["void_m3"][0] < columns["void_high_m3"][0]
    assert any("1 gully with" in note for note in found.notes)


def test_channels_say_whether_they_are_cut() -> None:
    columns = screened().channels.columns
    largest = int(np.argmax(columns["drainage_area_ha"]))
    assert columns["form"][largest] == "cut"
    assert columns["cut_m"].sum() == pytest.approx(180, rel=0.2)
    assert (columns["cut_m"] <= columns["length_m"] + 1e-6).all()


def test_open_ground_has_no_gully_and_open_channels() -> None:
    found = screened(cut=False)
    assert not len(found.gullies.geometry)
    assert set(found.channels.columns["form"]) == {"open"}
    assert not any("gull" in note for note in found.notes)


def test_coarse_cells_say_nothing_of_gullies() -> None:
    found = screened(cell_m=10.0)
    assert not len(found.gullies.geometry)
    assert "form" not in found.channels.columns
    assert gully_note(None) == ()


def test_the_rules_say_what_the_library_takes_by_itself() -> None:
    rules = load_rules()
    assert incision_limits(rules) == IncisionLimits()
    assert gully_limits(rules) == GullyLimits()
