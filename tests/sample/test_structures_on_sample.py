"""Structures on the sample ranch against what was planted in it."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from siting.floods.rainfall_reading import read_rainfall
from siting.layout.keep_files import KeepFiles
from siting.layout.measuring import BuildSettings
from siting.places.flood_settings import FloodSettings
from siting.places.spot import Stock
from siting.screen_settings import ScreenSettings
from siting.screening import Screening, screen
from terrain.reading.dem import read_dem
from terrain.vectors.boundary import read_boundary

SAMPLE = Path(__file__).resolve().parents[2] / "sample_dem"
WITHIN_M = 6.0
HAND_LIMIT_M, SURE = 1.2, 0.5
#: What a headcut without a grade control may say.
NO_PAIR = (
    "No grade control below it: ",
    "No crest below backs water to its foot: ",
    "No room for its own grade control: ",
    "No place for a grade control below it: ",
)
#: What a headcut says whose fall, even split in two, asks for stone that nobody lifts.
TOO_STRONG = "too strong for stone that people can lift"
UNSEEN = "do not show the banks, so it cannot be told whether they hold"
#: What a headcut says where a type stands that needs no water backed to its foot.
NEEDS_NONE = re.compile(r"The (log drop|rock rundown) needs none\.")
SETTINGS = ScreenSettings(
    floods=FloodSettings(read_rainfall(SAMPLE / "rainfall.csv"), 79.0),
    build=BuildSettings(
        keep_files=KeepFiles(
            roads=SAMPLE / "ranch.gpkg",
            keep_clear=SAMPLE / "ranch.gpkg",
            roads_layer="roads",
            keep_clear_layer="keep_clear",
        )
    ),
)


def stocked(*have: str) -> ScreenSettings:
    build = dataclasses.replace(SETTINGS.build, stock=Stock(have=frozenset(have)))
    return dataclasses.replace(SETTINGS, build=build)


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    return json.loads((SAMPLE / "truth.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def raster():
    return read_dem(SAMPLE / "ranch_dem.tif").raster


@pytest.fixture(scope="module")
def ranch(raster):
    return read_boundary(SAMPLE / "boundary.geojson", raster.grid.crs).polygon


@pytest.fixture(scope="module")
def whole(raster) -> Screening:
    return screen(raster, settings=SETTINGS)


@pytest.fixture(scope="module")
def inside(raster, ranch) -> Screening:
    return screen(raster, boundary_polygon=ranch, settings=SETTINGS)


@pytest.fixture(scope="module")
def logs_only(raster) -> Screening:
    return screen(raster, settings=stocked("logs"))


@pytest.fixture(scope="module")
def brush_only(raster) -> Screening:
    return screen(raster, settings=stocked("brush"))


def near(found: Screening, shape: Any, which: np.ndarray | None = None) -> list[int]:
    """Sites within the matching distance of a shape, the nearest first."""
    away = shapely.distance(found.sites.geometry, shape)
    if which is not None:
        away = np.where(which, away, np.inf)
    return [int(i) for i in np.argsort(away) if away[i] <= WITHIN_M]


def site_of(found: Screening, head: dict[str, Any]) -> int:
    """Site at a planted headcut, -1 for none."""
    at_head = np.isin(found.sites.columns["control"], ("vertical", "refer"))
    sites = near(found, shapely.Point(head["x"], head["y"]), at_head)
    return sites[0] if sites else -1


def controls_of(found: Screening, i: int) -> list[int]:
    """Grade controls and spreaders that belong to a headcut, in build order."""
    c = found.sites.columns
    own = np.flatnonzero((c["pair_id"] == c["pair_id"][i]) & (c["control"] != "vertical"))
    return sorted(own.tolist(), key=lambda j: c["build_order"][j]) if c["pair_id"][i] else []


def reason_rows(found: Screening, subject: str) -> dict[int, tuple[str, str]]:
    """Verdict and text of every site that tells about a subject."""
    r = found.tables["reasons"]
    return {
        int(i) - 1: (str(v), str(t))
        for i, s, v, t in zip(r["site_id"], r["subject"], r["verdict"], r["text"], strict=True)
        if s == subject
    }


@dataclass(frozen=True)
class Outcome:
    """What became of one planted headcut."""

    id: str
    kind: str  # works, spread, dry, part, alone, refer, unsure
    said: str


@pytest.fixture(scope="module")
def outcomes(whole, truth) -> list[Outcome]:
    return [outcome_of(whole, head) for head in truth["headcuts"]]


def outcome_of(found: Screening, head: dict[str, Any]) -> Outcome:
    c, i = found.sites.columns, site_of(found, head)
    if i < 0:
        sure = found.headcuts.columns["confidence"] >= SURE
        away = shapely.distance(found.headcuts.geometry, shapely.Point(head["x"], head["y"]))
        assert not (sure & (away <= WITHIN_M)).any(), f"{head['id']} is found but has no site"
        return Outcome(head["id"], "unsure", "")
    if c["control"][i] == "refer":
        return Outcome(head["id"], "refer", c["reason"][i])
    controls = controls_of(found, i)
    if NEEDS_NONE.search(c["caution"][i]):
        assert c["reach_share"][i] == 1.0
        return Outcome(head["id"], "dry", c["caution"][i])
    if not controls:
        assert c["reach_share"][i] == 0.0
        return Outcome(head["id"], "alone", c["caution"][i])
    if c["control"][controls[-1]] != "grade":
        return Outcome(head["id"], "spread", c["reason"][controls[-1]])
    if c["reach_share"][i] < 1.0:
        return Outcome(head["id"], "part", c["caution"][i] + c["reason"][controls[-1]])
    at_foot = reason_rows(found, "depth at the foot")
    works = all(j in at_foot and at_foot[j][0] == "holds" for j in controls)
    assert works, f"{head['id']} has a pair that neither works nor says that it does not"
    return Outcome(head["id"], "works", c["reason"][controls[-1]])


def test_every_planted_head_is_paired_or_says_why_not(whole, truth, outcomes) -> None:
    planted = {h["id"]: h for h in truth["headcuts"]}
    kinds: dict[str, list[str]] = {}
    for o in outcomes:
        kinds.setdefault(o.kind, []).append(o.id)
        print(o.id, f"{planted[o.id]['height_m']:.2f} m", o.kind, o.said[-220:])
        if o.kind == "refer":
            failed = [
                why
                for why in (
                    f"above the {HAND_LIMIT_M} m that hands should build",
                    "limit of hand work",
                    "to which crew and structure are safe",
                    "an engineer must look first",
                    TOO_STRONG,
                )
                if why in o.said
            ]
            assert failed, o
        if o.kind == "alone":
            assert any(why in o.said for why in NO_PAIR), o
        if o.kind == "part":
            assert o.said.startswith("Its grade control makes up "), o
            assert "measured on site may allow more" in o.said, o
    print({k: len(v) for k, v in kinds.items()})
    # every head in one of these, each once
    assert set(kinds) <= {"works", "spread", "dry", "part", "alone", "refer", "unsure"}
    assert sorted(i for v in kinds.values() for i in v) == sorted(planted)
    # four in five of what hands may build works: a crest that backs water to the foot, a spreader,
    # or a type that needs no water; where banks are not seen on the condition that they hold the
    # flow, which is said
    working = sum(len(kinds.get(k, [])) for k in ("works", "spread", "dry"))
    built = working + sum(len(kinds.get(k, [])) for k in ("part", "alone"))
    assert working >= 0.8 * built
    # 95 in 100 are to be found on plain ground (tests/accuracy); here smooth chutes and knickzones
    # were planted to be hard, so one in ten may stay unsure
    assert len(kinds.get("unsure", [])) <= 0.1 * len(planted)


def test_planted_heads_that_low_structures_can_reach_get_their_pair(truth, outcomes) -> None:
    """By the planted beds and benches; what is referred is measured past a limit.

    Where no bench is seen, bankfull is that of the 2-year flow; where a third of it allows too low
    a crest the plan says so, and that bankfull measured on site may allow more; where no bank is
    seen either, that its height has to be measured.
    """
    kind = {o.id: o for o in outcomes}
    pairable = [h["id"] for h in truth["headcuts"] if h["pairable"]]
    assert len(pairable) >= 10
    built = [i for i in pairable if kind[i].kind != "refer"]
    strong = [i for i in pairable if kind[i].kind == "refer" and TOO_STRONG in kind[i].said]
    print("pairable, with a fall too strong for hands:", strong)
    assert len(built) + len(strong) >= 9
    assert len(built) >= 6
    rest = [kind[i] for i in built if kind[i].kind not in ("works", "spread", "dry")]
    print("pairable, not referred:", len(built), "of them not working:", [o.id for o in rest])
    for o in rest:
        if o.kind == "alone":
            assert "measure their height on site" in o.said, o
            continue
        assert "0.10 m is allowed here (the smallest" in o.said, o
        assert "measured on site may allow more" in o.said, o
    # a bench shows at some 77 of 100 places where one is planted (tests/accuracy): without it the
    # height is that of the 2-year flow
    assert len(rest) <= 0.3 * len(built)


def test_every_pair_works(whole) -> None:
    """The still pool reaches the foot within its error, or the head says that it does not."""
    c = whole.sites.columns
    at_foot = reason_rows(whole, "depth at the foot")
    heads = np.flatnonzero((c["control"] == "vertical") & (c["pair_id"] > 0))
    strong = [r for r in c["reason"][c["control"] == "refer"] if TOO_STRONG in r]
    assert heads.size + len(strong) >= 15
    assert heads.size >= 12
    checked = holding = dry = 0
    for i in heads:
        for j in controls_of(whole, int(i)):
            if c["control"][j] != "grade":
                continue
            if NEEDS_NONE.search(c["caution"][i]):
                assert j not in at_foot  # no water is backed to it, and none is told
                dry += 1
                continue
            if c["reach_share"][j] < 1.0:
                # a pool that is said not to do
                assert at_foot[j][0] == "fails"
                assert c["pool_volume_m3"][j] > 0
                assert c["wedge_volume_m3"][j] > 0
                holding += 1
                continue
            assert at_foot[j][0] == "holds", (i + 1, j + 1, at_foot[j])
            assert c["toe_depth_m"][j] >= -0.05
            # how deep a flood stands is not told where nobody saw the width
            seen = np.isfinite(c["width_m"][j])
            assert np.isfinite(c["tailwater_toe_m"][j]) == seen
            assert not seen or c["tailwater_toe_m"][j] > max(c["toe_depth_m"][j], 0.0)
            assert c["structure_height_m"][j] <= 0.30
            checked += 1
    print(f"{checked} back water to what lies above, {holding} in part, {dry} hold the bed")
    # guards against a loop over next to nothing, no demands: how many must work is asked above
    assert checked >= 8
    assert checked + holding + dry >= 15


def test_heads_past_the_limit_or_by_the_road_are_referred(whole, truth) -> None:
    c = whole.sites.columns
    high = [h for h in truth["headcuts"] if h["height_m"] > 2.0]
    assert len(high) == 1
    road = [h for h in truth["headcuts"] if h["road_distance_m"] < 15.0]
    assert len(road) == 1
    for head, said in ((high[0], "that hands should build"), (road[0], "The road")):
        i = site_of(whole, head)
        assert (c["control"][i], c["structure"][i]) == ("refer", "engineer")
        assert said in c["reason"][i]
    for head in truth["headcuts"]:
        if head["above_hand_limit"]:
            assert c["control"][site_of(whole, head)] == "refer", head["id"]


def reaches(truth: dict[str, Any], setting: str) -> Iterator[tuple[str, Any, dict[str, float]]]:
    """Planted reaches of one setting: name, line, and the middle of what is planted there."""
    for channel in truth["channels"]:
        station = np.array(channel["station_m"])
        for r in channel["reaches"]:
            on = (station >= r["low_m"] - 3) & (station <= r["high_m"] + 3)
            if r["setting"] != setting or on.sum() < 2:
                continue
            xy = np.column_stack([np.array(channel["x"])[on], np.array(channel["y"])[on]])
            names = ("slope", "depth_m", "bank_width_m", "drainage_area_ha")
            middle = {n: float(np.nanmedian(np.array(channel[n], float)[on])) for n in names}
            name = f"channel {channel['channel']}, {r['low_m']} to {r['high_m']} m"
            yield name, shapely.linestrings(xy), middle | {"length_m": r["high_m"] - r["low_m"]}


def why_no_series(m: dict[str, float]) -> str:
    """Which limit a planted incised reach passes, with the error of the measuring."""
    tests = (
        (m["drainage_area_ha"] > 40.0, "more than 40 ha drain to it"),
        (1.1 * m["depth_m"] > 1.3, "banks of more than 1.2 m"),
        (m["slope"] + 0.002 > 0.03, "steeper than 3 %"),
        (m["slope"] - 0.002 < 0.004, "flatter than 0.4 %"),
        (m["bank_width_m"] < 3.5, "narrower than the cells show"),
        (m["length_m"] < 60.0, "shorter than a series asks for, once its ends are off"),
    )
    return "; ".join(why for passed, why in tests if passed)


def test_incised_reaches_within_limits_get_a_series_or_are_to_be_looked_at(whole, truth) -> None:
    c = whole.sites.columns
    listed = 0
    for name, line, m in reaches(truth, "incised"):
        why = why_no_series(m)
        found = near(whole, line, c["control"] == "grade")
        away = shapely.distance(whole.look_first.geometry, line)
        print(name, why or "within limits", [f"{i + 1} {c['structure'][i]}" for i in found], away)
        if why:
            continue
        # a bench in the cut says that it may be filling again
        healing = bool((away <= WITHIN_M).any())
        widened = m["bank_width_m"] > 7.0 * m["depth_m"]
        assert found or healing or widened, (name, m)
        listed += healing
    assert listed >= 3
    # what stands where a bench shows belongs to a head
    for i in np.flatnonzero((c["control"] == "grade") & (c["stage"] >= 4)):
        own = c["pair_id"] == c["pair_id"][i]
        assert c["pair_id"][i] > 0
        assert (c["control"][own] == "vertical").any(), i + 1


def test_a_widening_swale_gets_a_low_structure_and_of_logs_a_mat(whole, logs_only, truth) -> None:
    """With stone at hand a dam does the same for less."""
    hits = []
    for name, line, m in reaches(truth, "widening_swale"):
        for found in (whole, logs_only):
            c = found.sites.columns
            kind = "one-rock dam" if found is whole else "log mat"
            opens = np.array([text.startswith("The swale opens out") for text in c["reason"]])
            low = near(found, line, opens)
            hits.append(bool(low))
            print(name, {k: round(v, 3) for k, v in m.items()}, [i + 1 for i in low])
            assert all(c["structure"][i] == kind for i in low)
    assert any(hits[0::2])
    assert any(hits[1::2])


@pytest.mark.parametrize(("stock", "material"), [("logs_only", "logs"), ("brush_only", "brush")])
def test_without_stone_nothing_is_built_of_stone(request, stock, material) -> None:
    found: Screening = request.getfixturevalue(stock)
    built = set(found.sites.columns["structure"])
    assert not built & {"rock bowl", "rock rundown", "one-rock dam", "crescent spreader"}
    other = {"logs": {"wicker weir"}, "brush": {"log mat", "log drop"}}[material]
    assert not built & other
    # heads that hands could build are told to lack stone, not dropped
    c = found.sites.columns
    assert np.isfinite(c["headcut_height_m"]).sum() >= 30
    reasons = found.tables["reasons"]
    lacks = [t for t in reasons["text"] if "needs rock, which the ranch does not have" in t]
    assert len(lacks) >= 20


def test_with_logs_alone_heads_are_stopped_with_logs(logs_only) -> None:
    c = logs_only.sites.columns
    assert {"log drop", "log mat"} <= set(c["structure"])
    wood = logs_only.tables["materials"]
    stone = [str(i) for i in wood["item"] if str(i).startswith("stone_large")]
    assert not stone
    assert "logs" in set(wood["item"])


def test_inside_the_boundary_the_same_heads_get_the_same(whole, inside, ranch, truth) -> None:
    same = 0
    for head in truth["headcuts"]:
        point = shapely.Point(head["x"], head["y"])
        if not shapely.contains(ranch.buffer(-15.0), point):
            continue
        a, b = site_of(whole, head), site_of(inside, head)
        if a < 0:
            continue
        assert b >= 0, head["id"]
        assert whole.sites.columns["structure"][a] == inside.sites.columns["structure"][b]
        pairs = [len(controls_of(f, i)) for f, i in ((whole, a), (inside, b))]
        assert pairs[0] == pairs[1], head["id"]
        same += 1
    assert same >= 15


def test_every_site_has_its_reasoning_sizes_and_steps(whole) -> None:
    c, n = whole.sites.columns, whole.sites.size
    assert set(whole.tables["reasons"]["site_id"]) == set(range(1, n + 1))
    built = set((np.flatnonzero(c["control"] != "refer") + 1).tolist())
    assert set(whole.tables["sizes"]["site_id"].tolist()) == built
    told = whole.tables["instructions"]
    check_first = told["kind"] == "check"
    assert set(told["site_id"][~check_first].tolist()) == built
    assert set(told["site_id"][check_first].tolist()) == set(range(1, n + 1))
    assert set(whole.structures.columns["site_id"].tolist()) == built
    assert set(whole.structure_lines.columns["site_id"].tolist()) == built
    # without a budget all that works and saves is chosen, and what is not says why
    assert c["chosen"].any()
    assert not c["chosen"][c["control"] == "refer"].any()
    told = np.array([why is not None for why in c["chosen_why"]])
    assert (c["chosen"] != told)[c["control"] != "refer"].all()
