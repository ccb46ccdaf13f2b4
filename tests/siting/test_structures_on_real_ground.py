"""Structures on real ground: everything is sized within its limits, or referred."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from siting.floods.rainfall_reading import read_rainfall
from siting.places.flood_settings import FloodSettings
from siting.places.terrain_settings import TerrainSettings
from siting.screen_settings import ScreenSettings
from siting.screening import screen
from siting.values.rules import load_rules
from terrain.reading.dem import read_dem
from terrain.reading.survey import ReadOptions
from tests.siting.head_answers import assert_every_head_has_an_answer

SAMPLE = Path(__file__).resolve().parents[2] / "sample_dem"


@pytest.mark.real
@pytest.mark.parametrize(
    ("name", "crs", "least_heads"),
    [("pozo/pozo_4m.tif", None, 50), ("carrizo/carrizo.tif", "EPSG:26911", 1)],
)
def test_what_hands_may_not_build_is_referred(real_dem, name, crs, least_heads) -> None:
    raster = read_dem(real_dem(name), options=ReadOptions(crs=crs)).raster
    rain = read_rainfall(SAMPLE / "rainfall.csv")
    found = screen(raster, settings=ScreenSettings(floods=FloodSettings(rain, 79.0)))
    assert found.headcuts.size >= least_heads
    assert_every_head_has_an_answer(found)
    c, rules = found.sites.columns, load_rules()
    assert found.sites.size >= 1
    refer = c["control"] == "refer"
    assert refer.any()
    assert np.isnan(c["structure_height_m"][refer]).all()
    reasons = found.tables["reasons"]
    for i in np.flatnonzero(refer):
        own = reasons["site_id"] == i + 1
        assert (reasons["verdict"][own] == "fails").any(), i + 1
    built = ~refer
    assert (c["drainage_area_ha"][built] <= rules.high("hand_work.drainage_area")).all()
    assert c["area_complete"][built].all()
    drops = c["headcut_height_m"][built]
    assert (drops[np.isfinite(drops)] <= rules.high("hand_work.drop")).all()
    grade = c["control"] == "grade"
    assert (c["structure_height_m"][grade] <= rules.high("grade_control.height")).all()
    # keys in both banks come on top of what hands may span
    crest = found.structure_lines.columns["crest_length_m"]
    most = rules.high("hand_work.channel_width") + 2 * rules.value("grade_control.key")
    on = c["control"][found.structure_lines.columns["site_id"] - 1]
    assert (crest[on == "grade"] <= most + 1e-6).all()
    assert set(found.structures.columns["site_id"].tolist()) == set(
        (np.flatnonzero(built) + 1).tolist()
    )


#: Limits far past hand work: only so do the coarse cells of these rasters get structures.
LOOSE = {
    "hand_work__drop": (2.0, 4.0),
    "hand_work__gradient": (0.06, 0.30),
    "hand_work__channel_width": (20.0, 80.0),
    "hand_work__drainage_area": (4.0, 400.0),
    "hand_work__lift": (100.0, 4000.0),
    "one_rock_dam__channel_depth": (3.0, 60.0),
    "series__slope": (0.004, 0.06),
}


@pytest.mark.real
@pytest.mark.parametrize(
    ("name", "crs"), [("pozo/pozo_4m.tif", None), ("carrizo/carrizo.tif", "EPSG:26911")]
)
def test_structures_are_sized_and_measured_on_real_ground(real_dem, rules_with, name, crs) -> None:
    """With limits that nobody should build by, structures are sized on real ground."""
    raster = read_dem(real_dem(name), options=ReadOptions(crs=crs)).raster
    settings = ScreenSettings(
        terrain=TerrainSettings(edge_is_divide=True),
        floods=FloodSettings(read_rainfall(SAMPLE / "rainfall.csv"), 65.0),
        rules=rules_with(**LOOSE),
    )
    found = screen(raster, settings=settings)
    c = found.sites.columns
    grade = np.flatnonzero(c["control"] == "grade")
    built = np.isfinite(c["structure_height_m"]) | (c["control"] == "vertical")
    assert np.count_nonzero(built) >= 10
    # no crest stands where its banks do not hold the flow: in Pozo's deep gullies few are left
    assert grade.size >= (10 if crs else 1)
    height = c["structure_height_m"][grade]
    assert ((height >= 0.10) & (height <= 0.30)).all()
    # on cells of 4 m the bed above a low crest may rise past it within the first cell
    holds = grade[c["pool_volume_m3"][grade] > 0]
    slope = np.maximum(c["slope"], c["slope_above"])[grade]
    long = height / np.maximum(slope, 0.002) >= raster.grid.cell_m
    print(f"{grade.size} crests, {long.sum()} of them with pools longer than a cell")
    assert np.isin(grade[long], holds).all()
    assert holds.size >= 0.5 * grade.size
    assert (c["wedge_volume_m3"][holds] > 0).all()
    assert np.isfinite(c["pool_volume_m3"][grade]).all()
    # the water behind a crest of a hand is less than a prism as wide as the channel over the slope
    prism = 0.5 * c["width_m"] * c["structure_height_m"] ** 2 / np.maximum(c["slope"], 0.002)
    assert np.median(c["pool_volume_m3"][holds] / prism[holds]) < 1.5
    assert (c["cost_likely"][grade] > 0).all()
    assert set(found.pools.columns["site_id"] - 1) <= set(grade.tolist())
