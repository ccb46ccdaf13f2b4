"""Soil and cover crossed into curve numbers, and what could not be looked up."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import terrain.values.memory
from siting.floods.curve_numbers import read_covers
from siting.floods.flood_errors import CurveNumberError
from siting.places.land_maps import LandMap, LandSettings, cross, read_land
from siting.places.land_means import coefficient_amounts, mean_curve_number, sums_above
from terrain.channels.drainage_areas import Catchments, gradient
from terrain.flow.conditioning import condition
from terrain.reading.dem import read_dem
from terrain.values.errors import MemoryNeedError
from terrain.values.raster import Raster
from terrain.vectors.burning import CodeMap
from terrain.vectors.patches import MapError

SAMPLE = Path(__file__).resolve().parents[2] / "sample_dem"


def code_map(index, codes, name="map") -> CodeMap:
    return CodeMap(np.array([index], dtype=np.uint8), tuple(codes), name)


def numbers(land: LandMap) -> list[float]:
    return land.looked_up(land.numbers, np.float64)[0].tolist()


def crossed(soils, groups, cover, codes, *, valid=None, **more) -> LandMap:
    soil_map, cover_map = code_map(soils, groups, "soils.gpkg"), code_map(cover, codes, "cover.tif")
    known = np.ones((1, len(soils)), bool) if valid is None else np.array([valid])
    return cross(soil_map, cover_map, known, cell_area_m2=10_000.0, **more)


def test_each_pair_has_the_number_of_tr55_table_2_2d() -> None:
    """TR-55 table 2-2d: herbaceous 71, 81, 89 and sagebrush 51, 63, 70 in fair condition."""
    land = crossed([1, 2, 3, 1, 2, 3], ["B", "C", "D"], [1, 1, 1, 2, 2, 2], [71, 52])
    assert numbers(land) == [71, 81, 89, 51, 63, 70]
    assert not land.has_holes
    assert land.cautions == ()


@pytest.mark.parametrize(("condition", "number"), [("poor", 87), ("fair", 81), ("good", 74)])
def test_the_condition_can_be_chosen(condition, number) -> None:
    assert numbers(crossed([1], ["C"], [1], ["71"], condition=condition)) == [number]


def test_dual_groups_count_as_d_unless_drained_and_it_is_said() -> None:
    given = ([1, 2, 3], ["B/D", "C/D", "B"], [1, 1, 1], [71])
    land = crossed(*given)
    assert numbers(land) == [89, 89, 71]
    said = "Dual soil groups (B/D 1.0 ha and C/D 1.0 ha) are taken as not drained"
    assert any(said in note for note in land.notes)
    drained = crossed(*given, drained=True)
    assert numbers(drained) == [71, 81, 71]
    assert any("the first letter counts" in note for note in drained.notes)


def test_holes_and_unknown_codes_are_counted_in_hectares() -> None:
    land = crossed([1, 0, 1, 1, 1, 1], ["B"], [1, 1, 0, 2, 2, 3], [71, 95, 999])
    assert np.isnan(numbers(land)[1:]).all()
    assert land.has_holes
    (caution,) = land.cautions
    assert caution.startswith("5.0 ha of 6.0 ha have no curve number")
    for part in (
        "no soil group (1.0 ha)",
        "no cover (1.0 ha)",
        "cover code 95 is not in the table (2.0 ha)",
        "cover code 999 is not in the table (1.0 ha)",
    ):
        assert part in caution


def test_ground_off_the_raster_does_not_count() -> None:
    land = crossed([1, 0], ["B"], [1, 1], [71], valid=[True, False])
    assert land.cautions == ()
    assert not land.has_holes


def test_group_a_without_a_number_takes_that_of_b_and_says_so() -> None:
    land = crossed([1], ["A"], [1], [71])
    assert numbers(land) == [71]
    assert any("1.0 ha of soil group A took" in note for note in land.notes)


@pytest.mark.parametrize("group", ["E", "A/B", "low"])
def test_a_group_that_is_none_is_refused(group) -> None:
    with pytest.raises(CurveNumberError, match=rf"soils.gpkg holds the .*soil group '{group}'"):
        crossed([1], [group], [1], [71])


def test_no_known_code_at_all_is_refused() -> None:
    with pytest.raises(
        CurveNumberError, match=r"no ground .* has a curve number.*'999'.*cover table of"
    ):
        crossed([1], ["B"], [1], [999])


def test_a_users_own_table_and_names_of_covers(tmp_path) -> None:
    path = tmp_path / "covers.toml"
    path.write_text(
        "[cover.greasewood]\npoor = [60, 70, 80, 85]\nfair = [50, 65.5, 75, 80]\n"
        "good = [40, 60, 70, 75]\n[codes]\n250 = 'greasewood'\n"
    )
    table = read_covers(path)
    # 250 means "outside" on the national map, but this table says what it is
    assert numbers(crossed([1, 1], ["B"], [1, 2], [250, "greasewood"], table=table)) == [65.5, 65.5]
    assert numbers(crossed([1, 1], ["B"], [1, 2], [250, 71]))[1] == 71


def test_the_sample_ranch_by_its_own_maps() -> None:
    """Against a lookup in each polygon of the maps, at cells chosen by chance."""
    import pyogrio
    import shapely

    raster = read_dem(SAMPLE / "ranch_dem.tif").raster
    maps = SAMPLE / "ranch.gpkg"
    land = read_land(LandSettings(maps, maps, condition="poor"), raster)
    assert any("C/D" in note for note in land.notes)
    assert "cover code 95" in land.cautions[0]
    soils = pyogrio.read_dataframe(maps, layer="soils")
    cover = pyogrio.read_dataframe(maps, layer="cover")
    group = {"A": 0, "B": 1, "C": 2, "D": 3, "C/D": 3}
    # TR-55 tables 2-2c and 2-2d, poor condition
    table = {
        11: [100] * 4, 31: [77, 86, 91, 94], 42: [np.nan, 75, 85, 89],
        52: [np.nan, 67, 80, 85], 71: [np.nan, 80, 87, 93], 95: [np.nan] * 4,
    }  # fmt: skip
    cells = np.random.default_rng(5).choice(raster.grid.size, 200, replace=False)
    points = shapely.points(*raster.grid.xy_of(cells))
    found = land.looked_up(land.numbers, np.float64).reshape(-1)[cells]
    for point, number in zip(points, found, strict=True):
        soil = soils.hydrologic_group[soils.contains(point)].iloc[-1]
        code = cover.code[cover.contains(point)].iloc[-1]
        expected = table[int(code)][group[soil]]
        assert number == expected or (np.isnan(number) and np.isnan(expected))


def test_maps_that_would_not_fit_are_refused_before_they_are_read(monkeypatch, tmp_path) -> None:
    monkeypatch.setattr(terrain.values.memory, "free_bytes", lambda: 2**28)
    raster = Raster.from_array(np.ones((5, 5)))
    with pytest.raises(MemoryNeedError, match="Give one curve number"):
        read_land(LandSettings(tmp_path / "s.gpkg", tmp_path / "c.tif"), raster)


def test_maps_need_a_place(tmp_path) -> None:
    raster = Raster.from_array(np.ones((5, 5)))
    with pytest.raises(MapError, match="a DEM whose place is not known"):
        read_land(LandSettings(tmp_path / "s.gpkg", tmp_path / "c.tif"), raster)


def test_runoff_coefficients_weigh_cover_soil_and_slope() -> None:
    """NRCS module 206D table 2: pasture on clay .40, .55, .60; woodland on loam .30, .35, .50."""
    rng = np.random.default_rng(8)
    rows, cols = 30, 40
    z = np.cumsum(rng.uniform(0, 0.12, (rows, cols)), axis=1) + np.arange(rows)[:, None] * 0.02
    raster = Raster.from_array(z)
    flow = condition(raster).flow
    counts = flow.accumulate()
    half = np.repeat([[1, 2]], cols // 2, axis=1)
    index = np.repeat(half, rows, axis=0).astype(np.uint8)
    land = cross(
        CodeMap(index.copy(), ("D", "B"), "soils"),
        CodeMap(index.copy(), (71, 43), "cover"),
        raster.valid,
        cell_area_m2=1.0,
    )
    steep = gradient(raster)
    slope = np.select([steep <= 0.05, steep <= 0.10], [0, 1], 2)
    own = np.where(
        index == 1, np.array([0.40, 0.55, 0.60])[slope], np.array([0.3, 0.35, 0.5])[slope]
    )
    assert set(np.unique(slope)) == {0, 1, 2}
    catchments = Catchments.of(flow, counts)
    cells = np.flatnonzero(counts.reshape(-1) > 5)
    amounts = coefficient_amounts(land)[..., None]
    found = sums_above(catchments, land, steep, cells, amounts)[:, 0] / 1e4
    for cell, total in zip(cells, found, strict=True):
        assert total == pytest.approx(own[catchments.mask(int(cell))].sum(), rel=1e-9)


def test_mean_curve_number_leaves_holes_out() -> None:
    raster = Raster.from_array(np.vstack([[9, 8, 7, 6.0], [5, 4, 3, 2.0]]))
    flow = condition(raster).flow
    counts = flow.accumulate()
    outlet = int(np.argmax(counts))
    index = np.array([[1, 1, 0, 2], [1, 2, 0, 2]], np.uint8)
    land = cross(
        CodeMap(np.ones((2, 4), np.uint8), ("B",), "soils"),
        CodeMap(index, (71, 52), "cover"),
        raster.valid,
        cell_area_m2=1.0,
    )
    assert counts.reshape(-1)[outlet] == 8
    mean = mean_curve_number(flow, counts, land)
    assert mean.reshape(-1)[outlet] == pytest.approx((3 * 71 + 3 * 51) / 6)
    assert mean.dtype == np.float32
