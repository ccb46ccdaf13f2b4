"""Rows taken together by site, and what is set aside."""

from __future__ import annotations

import math

import pytest

from siting.revising.field_rows import FieldRow, FieldTable, read_rows
from siting.revising.gathering import gather
from siting.revising.site_measures import FieldSite, Planned, SetAside
from siting.values.rules import load_rules

PLANNED = {
    1: Planned(has_drop=True, x_m=100.0, y_m=200.0),
    2: Planned(has_drop=False, x_m=110.0, y_m=200.0),
    7: Planned(has_drop=False, x_m=120.0, y_m=200.0, on_road=True),
}


def gathered(
    *rows: dict[str, str],
    point: tuple[float, float] | None = None,
    before: dict[int, FieldSite] | None = None,
    revision: int = 1,
) -> tuple[dict[int, FieldSite], tuple[SetAside, ...]]:
    names = tuple(dict.fromkeys(["site_id", *(name for row in rows for name in row)]))
    given = tuple(FieldRow(n, row, point) for n, row in enumerate(rows, start=2))
    return gather(
        read_rows(FieldTable("f.csv", names, given), length_unit="m"),
        PLANNED,
        load_rules(),
        revision=revision,
        source="f.csv",
        project=lambda lon, lat: (lon + 1000.0, lat),
        before=before,
    )


def test_what_is_measured_is_taken() -> None:
    found, aside = gathered(
        {"site_id": "1", "measured_width": "3", "measured_drop": "0.9", "decision": "BUILD"},
        {"site_id": "2.0", "measured_slope": "0.02", "notes": "wet"},
    )
    assert aside == ()
    assert (found[1].width_m, found[1].drop_m, found[1].decision) == (3.0, 0.9, "build")
    assert (found[2].slope, found[2].notes) == (0.02, "wet")
    assert found[2].measured
    assert not FieldSite(notes="x").measured


@pytest.mark.parametrize(
    ("row", "column", "kind", "says"),
    [
        ({"measured_width": "-1"}, "measured_width", "impossible", "outside 0.1 to 100 m"),
        ({"measured_width": "400"}, "measured_width", "impossible", "400 m is outside"),
        ({"measured_depth": "21"}, "measured_depth", "impossible", "0.02 to 20 m"),
        ({"measured_drop": "0"}, "measured_drop", "impossible", "0.05 to 15 m"),
        ({"measured_slope": "3"}, "measured_slope", "impossible", "measured_slope_pct"),
        ({"measured_depth": "deep"}, "measured_depth", "unread", "no finite number"),
        ({"measured_depth": "inf"}, "measured_depth", "unread", "no finite number"),
        ({"decision": "perhaps"}, "decision", "unread", "build, skip, move, refer"),
        ({"decision": "move"}, "decision", "conflicting", "no position"),
    ],
)
def test_a_value_that_cannot_be_is_set_aside(
    row: dict[str, str], column: str, kind: str, says: str
) -> None:
    found, (one,) = gathered({"site_id": "1", **row, "soil": "clay"})
    assert (one.column, one.kind, one.origin.row, one.site) == (column, kind, 2, "1")
    assert says in one.reason
    # the rest of the row is used all the same
    assert found[1].soil == "clay"
    assert not found[1].measured
    assert found[1].decision == ""


@pytest.mark.parametrize("site", ["3", "-1", "1.5", "abc", "nan", ""])
def test_a_row_of_no_site_is_set_aside(site: str) -> None:
    found, (one,) = gathered({"site_id": site, "measured_width": "3"})
    assert found == {}
    assert (one.kind, one.column) == ("unknown", "")


def test_two_rows_that_differ_are_both_set_aside_and_the_rest_is_used() -> None:
    found, aside = gathered(
        {"site_id": "1", "measured_width": "3", "measured_depth": "1", "notes": "a"},
        {"site_id": "1", "measured_width": "3.5", "measured_depth": "1.0", "notes": "b"},
    )
    assert [(a.origin.row, a.column, a.kind) for a in aside] == [
        (2, "measured_width", "conflicting"),
        (3, "measured_width", "conflicting"),
    ]
    assert "Rows 2, 3" in aside[0].reason
    assert math.isnan(found[1].width_m)
    assert found[1].depth_m == 1.0
    assert found[1].notes == "a; b"


def test_a_drop_has_no_place_where_there_is_none() -> None:
    found, (one,) = gathered({"site_id": "2", "measured_drop": "1"})
    assert "no drop" in one.reason
    assert not found[2].measured


def test_on_a_road_only_its_slope_is_measured() -> None:
    found, aside = gathered(
        {"site_id": "7", "measured_width": "3", "measured_depth": "1", "measured_slope": "0.04"}
    )
    assert [(a.column, a.kind) for a in aside] == [
        ("measured_width", "impossible"),
        ("measured_depth", "impossible"),
    ]
    assert found[7].slope == 0.04


def test_measures_that_cannot_be_together() -> None:
    found, (one,) = gathered(
        {"site_id": "1", "measured_depth": "0.8", "measured_bankfull_depth": "0.9"}
    )
    assert (one.column, one.kind) == ("measured_bankfull_depth", "impossible")
    assert found[1].depth_m == 0.8
    # a drop may stand above the depth by no more than 0.1 m
    found, (one,) = gathered({"site_id": "1", "measured_depth": "0.8", "measured_drop": "0.95"})
    assert (one.column, one.kind) == ("measured_drop", "impossible")
    _, none = gathered({"site_id": "1", "measured_depth": "0.8", "measured_drop": "0.88"})
    assert none == ()


def test_a_position_moves_a_site_only_so_far() -> None:
    found, none = gathered({"site_id": "1", "x": "103", "y": "204", "decision": "move"})
    assert none == ()
    assert (found[1].x_m, found[1].y_m, found[1].decision) == (103.0, 204.0, "move")
    found, (one,) = gathered({"site_id": "1", "x": "100", "y": "231", "decision": "move"})
    assert (one.column, one.kind) == ("decision", "impossible")
    assert "31 m" in one.reason
    assert "screen the ranch again" in one.reason
    assert found[1].decision == ""


def test_longitude_and_latitude_are_turned() -> None:
    found, _ = gathered({"site_id": "1", "lon": "-900", "lat": "200", "decision": "move"})
    assert (found[1].x_m, found[1].y_m) == (100.0, 200.0)


def test_a_point_that_was_not_moved_is_no_position() -> None:
    _, (one,) = gathered({"site_id": "1", "decision": "move"}, point=(100.0, 200.001))
    assert "no position" in one.reason
    found, none = gathered({"site_id": "1", "decision": "move"}, point=(100.0, 205.0))
    assert none == ()
    assert found[1].y_m == 205.0


def test_a_later_file_replaces_what_an_earlier_one_said() -> None:
    before, _ = gathered({"site_id": "1", "measured_width": "3", "measured_depth": "1"})
    found, aside = gathered({"site_id": "1", "measured_width": "4"}, before=before, revision=2)
    assert aside == ()
    assert (found[1].width_m, found[1].depth_m) == (4.0, 1.0)
    assert found[1].origins["width"][0].revision == 2
    assert found[1].origins["depth"][0].revision == 1
