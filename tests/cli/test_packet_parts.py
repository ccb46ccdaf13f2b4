"""Parts of a packet: texts, the order to build, shapes of structures, and what drawings show."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from cli.figures.section_drawing import SectionDrawing, label_place
from cli.figures.site_drawings import SiteDrawings
from cli.packet.build_order import build_order
from cli.packet.packet_maps import sheet_of
from cli.packet.packet_pictures import code_svg, geo_address
from cli.packet.printable import all_raised, every_text, not_drawn, printable, raised, sentences
from cli.packet.site_sheet import listed
from cli.plan.plan_reading import read_plan
from tests.example_packet import bed_m, write_packet_plan
from tests.example_stretch import DAM, LIP


def test_printable_keeps_words_and_cuts_what_is_too_long() -> None:
    assert printable(None) == ""
    assert printable("  two\n\twords ") == "two words"
    assert printable("a b c d e f", 7) == "a b c …"
    assert printable("x" * 500, 20) == "x" * 20 + " …"
    assert len(printable("word " * 4000, 300)) <= 302
    broken = printable("y" * 100, 200)
    assert broken.replace("\u200b", "") == "y" * 100
    assert max(map(len, broken.split("\u200b"))) <= 34
    assert printable("a\x00b\u202ec\ue000d") == "a b c d"
    # Marks that shape letters belong to them.
    joined = "\u0645\u06cc\u200c\u062e\u0648"
    assert printable(joined) == joined


def test_sentences_are_split_where_they_end() -> None:
    text = "The drop is 1.0 m. It moves. 17 ha drain to it (e.g. grass). Été. élan follows."
    assert sentences(text) == [
        "The drop is 1.0 m.",
        "It moves.",
        "17 ha drain to it (e.g. grass).",
        "Été. élan follows.",
    ]
    assert sentences(None) == []


def test_square_and_cubic_metres_are_raised() -> None:
    assert raised("1.0 m3/s on 20 m2, 5 m3.") == "1.0 m³/s on 20 m², 5 m³."
    assert raised("plan_m2.gpkg and 3 m20 and m3") == "plan_m2.gpkg and 3 m20 and m3"
    assert all_raised({"a": ["1 m3", 2, {"b": "2 m2"}]}) == {"a": ["1 m³", 2, {"b": "2 m²"}]}
    assert list(every_text({"a": ["x", {"b": "y"}], "c": 3})) == ["x", "y"]


def test_letters_without_a_shape_are_found() -> None:
    assert not_drawn(["Été ñ שלום سد 10 m³ ≥ …", "\u200b"]) == ()
    assert not_drawn(["乾 a", "🪨"]) == ("乾", "🪨")


def test_names_are_listed() -> None:
    assert listed(["1"]) == "1"
    assert listed(["1", "2", "3"]) == "1, 2 and 3"
    assert listed(list("123456"), most=4) == "1, 2, 3, 4 and 2 more"


def test_the_code_holds_the_place() -> None:
    assert geo_address(-104.5403171, 37.4025129) == "geo:37.402513,-104.540317"
    assert code_svg("geo:1.000000,2.000000").startswith(b"<svg")
    assert code_svg("geo:1.000000,2.000000") != code_svg("geo:1.000000,2.000001")


def test_a_map_fills_its_sheet() -> None:
    wide, high = sheet_of((0, 0, 1000, 1000), 7.3, 6.3)
    assert high == pytest.approx(6.3)
    assert wide < 7.3
    wide, high = sheet_of((0, 0, 3000, 1000), 7.3, 6.3)
    assert wide == pytest.approx(7.3)
    assert high < 6.3


def site(number: int, rank: int, **more: Any) -> dict[str, Any]:
    return {
        "site_id": number, "rank": rank, "list_place": rank, "control": "grade", "purpose": "grade",
        "chosen": True, "pair_id": 0, "build_order": 0, "channel_id": 1, "station_m": 0.0,
        "elevation_m": 0.0,
    } | more  # fmt: skip


def channel(number: int, below: int, length: float = 100.0) -> dict[str, Any]:
    return {"channel_id": number, "downstream_id": below, "length_m": length}


def in_order(*sites: dict[str, Any], channels: tuple[dict[str, Any], ...] = ()) -> list[list[int]]:
    order = build_order(sites, channels)
    return [[int(s["site_id"]) for s in group.sites] for group in order.groups]


def test_base_before_head_and_pairs_together() -> None:
    head = site(1, 1, control="vertical", pair_id=5, build_order=2, station_m=50.0)
    base = site(2, 2, pair_id=5, build_order=1, station_m=45.0)
    below = site(3, 3, station_m=10.0)
    between = site(4, 4, station_m=47.0)
    assert in_order(head, base, below, between) == [[3], [2, 1], [4]]


def test_a_stream_is_built_from_below_and_the_one_with_the_best_rank_first() -> None:
    channels = (channel(1, 0), channel(2, 1), channel(3, 0))
    upper = site(1, 3, channel_id=2, station_m=5.0)
    lower = site(2, 4, channel_id=1, station_m=90.0)
    other = site(3, 1, channel_id=3, station_m=80.0)
    assert in_order(upper, lower, other, channels=channels) == [[3], [2], [1]]


def test_sites_of_one_work_stay_together() -> None:
    work = {"work_id": 9, "pair_id": 0}
    base = site(1, 2, station_m=10.0, build_order=1, **work)
    head = site(2, 2, station_m=90.0, build_order=2, **work)
    between = site(3, 1, station_m=50.0, work_id=4)
    assert in_order(head, base, between) == [[1, 2], [3]]
    road = {"purpose": "road", "control": "spread", "work_id": 7}
    low = site(4, 3, elevation_m=10.0, build_order=2, **road)
    high = site(5, 3, elevation_m=20.0, build_order=1, **road)
    assert in_order(low, high) == [[5, 4]]


def test_what_is_not_known_to_be_built_waits() -> None:
    order = build_order([site(1, 1), site(2, 0, control="hold", chosen=False)], [])
    assert [[s["site_id"] for s in g.sites] for g in order.groups] == [[1]]
    assert [s["site_id"] for s in order.waiting] == [2]
    assert not order.left_out


def test_dips_come_from_the_top_down_and_what_is_not_built_stands_apart() -> None:
    low = site(1, 1, purpose="road", control="spread", elevation_m=10.0)
    high = site(2, 2, purpose="road", control="spread", elevation_m=20.0)
    dam, wait = site(3, 3), site(4, 4, control="refer", chosen=False)
    left = site(5, 5, chosen=False)
    order = build_order([low, high, dam, wait, left], [])
    assert [[s["site_id"] for s in g.sites] for g in order.groups] == [[3], [2], [1]]
    assert [s["site_id"] for s in order.waiting] == [4]
    assert [s["site_id"] for s in order.left_out] == [5]


def test_channels_that_lead_in_a_circle_do_not_hold_it_up() -> None:
    channels = (channel(1, 2), channel(2, 1))
    assert in_order(site(1, 1), site(2, 2, channel_id=2), channels=channels)


@pytest.fixture(scope="module")
def plan_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_packet_plan(tmp_path_factory.mktemp("plan") / "plan.gpkg")


def test_a_profile_holds_the_pair_and_the_flood(plan_path: Path) -> None:
    plan = read_plan(plan_path)
    head = next(s for s in plan.rows("sites") if s["site_id"] == 1)
    drawn = SiteDrawings(plan).profile(head)
    assert drawn is not None
    np.testing.assert_allclose(drawn.bed_m, bed_m(LIP - drawn.station_m), atol=0.002)
    bowl = [s for s in drawn.structures if s.control == "vertical"]
    dam = [s for s in drawn.structures if s.control == "grade"]
    assert bowl[0].label.startswith("1: rock bowl")
    assert "2: one-rock dam\n0.16 m high" in dam[0].label
    # The dam stands as far downstream as its station says, and as high above the bed.
    middle = (dam[0].station_m.min() + dam[0].station_m.max()) / 2
    assert middle == pytest.approx(-4.5, abs=0.01)
    assert dam[0].elevation_m.max() == pytest.approx(float(bed_m(DAM - 0.75)) + 0.16, abs=0.02)
    assert drawn.water is not None
    # The flood runs 0.21 m deep over the bed and over what stands on it, and never uphill.
    over = drawn.water.elevation_m - drawn.bed_m
    assert over.min() == pytest.approx(0.21)
    at_dam = np.abs(drawn.station_m + 4.5) < 0.5
    assert (over[at_dam] > 0.21 + 0.14).all()
    assert (np.diff(drawn.water.elevation_m) >= 0).all()
    assert drawn.flood_words == "10-year flood, 0.42 m3/s"
    # A still pool is level and ends where the bed rises through it.
    (pool,) = drawn.pools
    assert np.ptp(pool.elevation_m) == 0
    assert pool.station_m[-1] <= 0


def test_sediment_does_not_rise_over_the_head_above_it(plan_path: Path) -> None:
    plan = read_plan(plan_path)
    drawn = SiteDrawings(plan).profile(next(s for s in plan.rows("sites") if s["site_id"] == 1))
    assert drawn is not None
    for wedge in drawn.wedges:
        assert wedge.elevation_m.max() < float(bed_m(LIP)) - 0.3


def test_a_section_holds_structure_and_water(plan_path: Path) -> None:
    plan = read_plan(plan_path)
    rows = {s["site_id"]: s for s in plan.rows("sites")}
    drawings = SiteDrawings(plan)
    dam = drawings.section(rows[2])
    assert isinstance(dam, SectionDrawing)
    bed = float(np.min(dam.ground_m))
    assert dam.water_m == pytest.approx(bed + 0.22)
    assert dam.bankfull_m == pytest.approx(bed + 0.48)
    body, left, right = dam.structures
    assert [part.is_body for part in dam.structures] == [True, False, False]
    assert body.elevation_m.min() == pytest.approx(bed - 0.08)
    # The words point to the middle of the crest, where it is lowest.
    assert label_place(body) == pytest.approx((0.0, bed + 0.16))
    assert right.offset_m.max() - left.offset_m.min() == pytest.approx(3.4)
    # A bowl is seen from below: as high as the drop, between the banks.
    bowl = drawings.section(rows[1])
    assert bowl is not None
    lip = float(np.min(bowl.ground_m)) + 0.9
    (wall,) = bowl.structures
    assert wall.elevation_m.max() == pytest.approx(lip)
    ground = np.interp(wall.offset_m, bowl.offset_m, bowl.ground_m)
    assert (wall.elevation_m >= ground - 1e-9).all()
    across = np.arange(-2.7, 2.71, 0.05)
    below = np.interp(across, bowl.offset_m, bowl.ground_m)
    seen = shapely.Polygon(np.column_stack([wall.offset_m, wall.elevation_m]))
    assert seen.area == pytest.approx(np.clip(lip - below, 0, None).sum() * 0.05, rel=0.02)
