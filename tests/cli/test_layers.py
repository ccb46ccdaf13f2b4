from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import CRS

from cli.file_errors import LayerError
from cli.plan.fields import schema
from cli.plan.layers import Layer, check_names, empty_layer, table
from tests.example_plan import UTM, example_layers, texts

POINTS = shapely.points([0.0, 10.0], [0.0, 5.0])


def headcuts(**changes: object) -> Layer:
    columns = {
        "headcut_id": np.array([1, 2]),
        "channel_id": np.array([1, 1]),
        "station_m": np.array([1.0, 2.0]),
        "headcut_height_m": np.array([0.5, 1.5]),
        "face_slope": np.array([0.5, np.nan]),
        "drainage_area_ha": np.array([1.0, 2.0]),
        "confidence": np.array([0.5, 0.6]),
    }
    columns.update(changes)  # type: ignore[arg-type]
    return Layer("headcuts", POINTS, columns, UTM)


def test_what_is_left_out_is_filled_with_nothing() -> None:
    layer = headcuts()
    assert list(layer.columns) == list(schema("headcuts"))
    assert np.isnan(layer.columns["width_m"]).all()
    assert layer.columns["evidence"].tolist() == [None, None]
    assert layer.rows == 2


def test_columns_and_geometries_are_read_only_copies() -> None:
    mine = np.array([0.5, 0.6])
    layer = headcuts(confidence=mine)
    mine[0] = 9.0
    assert layer.columns["confidence"][0] == 0.5
    with pytest.raises(ValueError, match="read-only"):
        layer.columns["confidence"][0] = 1.0


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"headcut_id": np.array([3, 3])}, "headcuts.headcut_id has 3 more than once"),
        ({"headcut_id": np.array([1.0, 2.0])}, "headcut_id holds float64; expected int"),
        ({"station_m": np.array(["a", "b"])}, "station_m holds <U1; expected float"),
        ({"station_m": np.array([np.inf, 1.0])}, "station_m holds an infinite number"),
        ({"station_m": np.array([1.0])}, r"station_m has shape \(1,\)"),
        ({"Station_m": np.array([1.0, 2.0])}, "headcuts has columns Station_m"),
        ({"kind": texts("channel", "pond")}, "headcuts.kind holds pond; expected channel, side"),
        ({"evidence": np.array([1, 2])}, "evidence holds int64; expected text"),
    ],
)
def test_columns_that_do_not_keep_to_the_table(changes: dict, message: str) -> None:
    with pytest.raises(LayerError, match=message):
        headcuts(**changes)


def test_an_empty_text_says_nothing_where_values_are_listed() -> None:
    layer = headcuts(kind=texts("channel", ""), evidence=texts("", None))
    assert layer.columns["kind"].tolist() == ["channel", None]
    assert layer.columns["evidence"].tolist() == ["", None]


def test_whole_numbers_may_be_listed_too() -> None:
    sites = {n: v for n, v in example_layers()["sites"].columns.items() if n != "stage"}
    points = example_layers()["sites"].geometry
    assert Layer("sites", points, sites, UTM).columns["stage"].tolist() == [0] * 6
    with pytest.raises(LayerError, match=r"sites\.stage holds 6, 7; expected 0, 1, 2, 3, 4, 5"):
        Layer("sites", points, sites | {"stage": np.array([1, 6, 0, 5, 7, 6])}, UTM)


def test_a_required_column_is_asked_for() -> None:
    with pytest.raises(LayerError, match="headcuts without the column headcut_id"):
        Layer("headcuts", POINTS, {}, UTM)


@pytest.mark.parametrize(
    ("geometry", "message"),
    [
        (np.array([shapely.Point(), shapely.Point(1, 1)]), "bad geometry in row 0"),
        (np.array([shapely.Point(1, 1), None]), "a feature without a geometry"),
        (np.array([shapely.Point(1, 1), shapely.box(0, 0, 1, 1)]), "a Polygon in row 1"),
    ],
)
def test_geometries_that_cannot_be_drawn(geometry: np.ndarray, message: str) -> None:
    columns = headcuts().columns
    with pytest.raises(LayerError, match=message):
        Layer("headcuts", geometry, columns, UTM)


def test_a_self_crossing_polygon_is_refused() -> None:
    bow = shapely.Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    with pytest.raises(LayerError, match="Self-intersection"):
        Layer("ranch", np.array([bow]), {"area_ha": np.array([1.0])}, UTM)


def test_polygons_become_multipolygons_and_heights_are_dropped() -> None:
    box = shapely.force_3d(shapely.box(0, 0, 1, 1), 5.0)
    layer = Layer("ranch", np.array([box]), {"area_ha": np.array([1.0])}, UTM)
    assert layer.geometry is not None
    assert layer.geometry[0].geom_type == "MultiPolygon"
    assert not layer.geometry[0].has_z


def test_a_layer_needs_its_place_and_a_table_has_none() -> None:
    with pytest.raises(LayerError, match="without a coordinate reference system"):
        Layer("headcuts", POINTS, headcuts().columns)
    with pytest.raises(LayerError, match="run_info with geometries"):
        Layer("run_info", POINTS, {"name": texts("a", "b"), "value": texts("1", "2")}, UTM)


def test_empty_layers_keep_their_fields() -> None:
    layer = empty_layer("sites", UTM)
    assert layer.rows == 0
    assert list(layer.columns) == list(schema("sites"))
    assert table("run_info", []).rows == 0


def test_a_plan_has_one_of_each_name_and_one_crs() -> None:
    sites = example_layers()["sites"]
    with pytest.raises(LayerError, match="two layers named sites"):
        check_names([sites, empty_layer("sites", UTM)])
    with pytest.raises(LayerError, match="different coordinate reference systems"):
        check_names([sites, empty_layer("channels", CRS.from_epsg(32613))])
