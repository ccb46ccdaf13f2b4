"""Structures on the map: to scale, turned with the flow, centred in the channel."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from siting.record.footprints import crest_table, footprint_table, middles, placed_part
from siting.structures.outlines import area_m2
from siting.structures.structure_type import Part

#: 2 m downstream of the crest, 1 m to the right of the middle.
DOWNSTREAM = Part("apron", ((1.5, 0.5), (1.5, 1.5), (2.5, 1.5), (2.5, 0.5)))


@pytest.mark.parametrize(
    ("azimuth", "x", "y"),
    [
        (0.0, 1.0, 2.0),  # flows north: downstream is north, right is east
        (90.0, 2.0, -1.0),  # flows east: right is south
        (180.0, -1.0, -2.0),
        (270.0, -2.0, 1.0),
        (45.0, 3 / np.sqrt(2), 1 / np.sqrt(2)),
    ],
)
def test_a_part_that_lies_downstream_lies_downstream_on_the_map(azimuth, x, y) -> None:
    middle = shapely.centroid(placed_part(DOWNSTREAM, 100.0, 200.0, azimuth, 0.0))
    assert (middle.x - 100.0, middle.y - 200.0) == pytest.approx((x, y), abs=1e-9)


def test_a_shift_moves_it_to_the_right_of_the_flow() -> None:
    moved = shapely.centroid(placed_part(DOWNSTREAM, 0.0, 0.0, 0.0, 0.75))
    assert (moved.x, moved.y) == pytest.approx((1.75, 2.0))


def test_parts_are_to_scale_and_each_is_there(worked) -> None:
    table = footprint_table(worked.sites)
    c = table.columns
    wanted = [
        (i + 1, worked.sites[i].structure, part.name, area_m2(part))
        for i, size in enumerate(s.size for s in worked.sites)
        for part in size.parts
    ]
    assert list(c["site_id"]) == [w[0] for w in wanted]
    assert list(c["structure"]) == [w[1] for w in wanted]
    assert list(c["part"]) == [w[2] for w in wanted]
    assert shapely.area(table.geometry) == pytest.approx([w[3] for w in wanted])
    assert shapely.is_valid(table.geometry).all()
    assert {g.geom_type for g in table.geometry} == {"MultiPolygon"}


def test_an_apron_lies_below_its_dam_and_a_bowl_below_its_lip(worked) -> None:
    table = footprint_table(worked.sites)
    c = table.columns
    middle = shapely.get_y(shapely.centroid(table.geometry))
    seen = set()
    for site in set(c["site_id"].tolist()):
        own = {
            name: float(v)
            for name, v, i in zip(c["part"], middle, c["site_id"], strict=True)
            if i == site
        }
        if "apron" in own:
            assert own["apron"] < own["body"] - 0.4  # the water runs south
            seen.add("apron")
        if "sill" in own:
            assert own["sill"] < own["pool"]
            seen.add("sill")
    assert seen == {"apron", "sill"}


def test_left_and_right_ends_lie_on_their_sides(worked) -> None:
    table = footprint_table(worked.sites)
    c, x = table.columns, shapely.get_x(shapely.centroid(table.geometry))
    left, right = c["part"] == "left key", c["part"] == "right key"
    assert left.sum() == right.sum() > 5
    # looking south, left is east
    assert (x[left] > x[right]).all()


def test_the_crest_is_centred_in_the_channel(worked) -> None:
    """The trench runs along x = 80 m; its flow path wanders over the bed of 3 m."""
    lines = crest_table(worked.sites)
    ends = shapely.get_coordinates(lines.geometry).reshape(-1, 2, 2)
    grade = np.array([worked.sites[i - 1].control == "grade" for i in lines.columns["site_id"]])
    assert grade.sum() >= 10
    centre = ends[grade].mean(axis=1)
    assert np.abs(centre[:, 0] - 80.0).max() < 0.6
    away = np.abs(np.asarray(worked.ground.raster.grid.xy_of(worked.sites.cell))[0] - 80.0)
    assert away.max() > 0.6  # cells alone would lie further off
    assert shapely.length(lines.geometry) == pytest.approx(lines.columns["crest_length_m"])


def test_footprints_are_centred_on_their_crest(worked) -> None:
    _, _, shift = middles(worked.sites)
    half = 0.5 * worked.sites.sized("crest_m")
    assert (np.abs(shift) <= half).all()
    table, lines = (f(worked.sites) for f in (footprint_table, crest_table))
    for site, line in zip(lines.columns["site_id"], lines.geometry, strict=True):
        own = shapely.union_all(table.geometry[table.columns["site_id"] == site])
        if worked.sites[site - 1].control != "grade":
            continue
        across = shapely.intersection(line, own.buffer(0.01))
        assert across.length == pytest.approx(line.length, rel=0.02)
