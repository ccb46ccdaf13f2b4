"""The reasoning behind every site: nothing left out, nothing without its source."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pytest
import shapely

from siting.effects.site_effects import effects_of
from siting.layout.measuring import BuildSettings
from siting.places.spot import Stock
from siting.record.reasons import NAMES, Told, reason_columns
from siting.structures.catalogue import structure_types
from siting.works.takes import Means, takes_of
from tests.siting.conftest import RAIN, ground_of, gully_raster, keep_of, sites_on

PARTS = (
    "measured",
    "flood",
    "bed",
    "limits",
    "alternatives",
    "sizes",
    "spacing",
    "pair",
    "benefit",
    "rank",
)
VERDICTS = {"", "holds", "fails", "gives way", "chosen", "not chosen"}
BASES = {"", "measured", "published", "from memory", "common practice", "arithmetic"}


def told_of(ground, sites, rain=RAIN) -> dict[str, np.ndarray]:
    effects = effects_of(ground, sites, rain)
    works = takes_of(sites, effects, Means(), rules=ground.rules).works
    return reason_columns(Told(sites, effects, works, ground.raster.grid.cell_m))


def rows_of(columns) -> list[dict[str, object]]:
    return [dict(zip(NAMES, row, strict=True)) for row in zip(*columns.values(), strict=True)]


@pytest.fixture(scope="module")
def rows(worked):
    columns = told_of(worked.ground, worked.sites)
    assert tuple(columns) == NAMES
    return rows_of(columns)


@pytest.fixture(scope="module")
def referred():
    """One head of 1.4 m beside a building."""
    ground = ground_of(gully_raster(drop_m=1.4))
    keep = keep_of(clear=((shapely.box(85, 195, 95, 205), "building"),))
    sites, _ = sites_on(ground, BuildSettings(keep=keep))
    [i] = [i for i, p in enumerate(sites.each) if p.control == "refer"]
    return [r for r in rows_of(told_of(ground, sites)) if r["site_id"] == i + 1]


def test_every_row_is_whole(rows, referred) -> None:
    for r in (*rows, *referred):
        assert r["part"] in PARTS
        assert r["verdict"] in VERDICTS
        assert r["basis"] in BASES
        for name in ("subject", "text"):
            assert str(r[name]).strip(), r
        for word in ("nan", "None", "inf ", "unknown", "!", "  "):
            assert word not in str(r["text"]), r
        assert str(r["text"])[-1] in ".)", r


def test_steps_are_counted_and_parts_come_in_reading_order(rows, worked) -> None:
    by_site = defaultdict(list)
    for r in rows:
        by_site[r["site_id"]].append(r)
    assert sorted(by_site) == list(range(1, worked.sites.count + 1))
    for own in by_site.values():
        assert [r["step"] for r in own] == list(range(1, len(own) + 1))
        order = [PARTS.index(r["part"]) for r in own]
        assert order == sorted(order)


def test_every_site_tells_all_that_applies(rows, worked) -> None:
    parts = defaultdict(set)
    for r in rows:
        parts[r["site_id"]].add(r["part"])
    for i, place in enumerate(worked.sites.each, start=1):
        wanted = {"measured", "flood", "limits", "alternatives", "sizes", "benefit", "rank", "pair"}
        if place.control == "grade" and place.head.index < 0:
            wanted |= {"spacing"}
        assert parts[i] >= wanted, place.structure


def test_every_limit_has_its_source_and_verdict(rows) -> None:
    limits = [r for r in rows if r["part"] == "limits"]
    assert all(r["verdict"] in ("holds", "fails") for r in limits)
    assert all(str(r["source"]).strip() and r["basis"] for r in limits)
    # what is built holds every limit
    assert all(r["verdict"] == "holds" for r in limits)
    rules = {r["subject"] for r in limits}
    assert {"hand_work.drop", "hand_work.gradient", "hand_work.drainage_area"} <= rules


def test_every_other_structure_says_why_not(rows, worked) -> None:
    names = {t.name: t for t in structure_types() if t.control != "refer"}
    for i, place in enumerate(worked.sites.each, start=1):
        own = [r for r in rows if r["site_id"] == i and r["part"] == "alternatives"]
        assert [r["subject"] for r in own if r["verdict"] == "chosen"] == [place.structure]
        others = {r["subject"] for r in own if r["verdict"] == "not chosen"}
        purpose = worked.sites[i - 1].spot.task.purpose
        assert others == {n for n, t in names.items() if purpose in t.purposes} - {place.structure}
        assert len(own) == len(others) + 1


def test_what_is_from_memory_and_what_is_common_practice_is_said(rows) -> None:
    bases = {r["basis"] for r in rows}
    assert {"measured", "published", "from memory", "common practice", "arithmetic"} <= bases
    retreat = [r for r in rows if r["subject"] == "retreat"]
    assert retreat
    assert all(r["basis"] == "from memory" for r in retreat)
    assert all("order of magnitude" in r["text"] for r in retreat)
    drop = next(r for r in rows if r["subject"] == "hand_work.drop")
    assert "Tech" in drop["source"]
    assert drop["basis"] == "published"


def test_a_pair_tells_its_depth_at_the_foot_and_that_stone_leaks(rows, worked) -> None:
    paired = [
        i + 1 for i, p in enumerate(worked.sites.each) if p.control == "grade" and p.head.index >= 0
    ]
    assert paired
    for i in paired:
        own = {r["subject"]: r for r in rows if r["site_id"] == i and r["part"] == "pair"}
        assert own["depth at the foot"]["verdict"] == "holds"
        assert "lower bound" in own["still pool"]["text"]
        assert "At the design flow" in own["tailwater"]["text"]
        assert "to be built" in own["group"]["text"]


def test_why_a_crest_stands_is_said_at_every_grade_control(shallow) -> None:
    own = rows_of(told_of(shallow.ground, shallow.sites))
    low = [i + 1 for i, p in enumerate(shallow.sites.each) if p.control == "grade"]
    assert len(low) >= 5
    told = [r for r in own if r["subject"] == "grade_control.height" and r["part"] == "limits"]
    assert [r["site_id"] for r in told] == low
    assert all(r["verdict"] == "holds" for r in told)
    assert all("banks that hold the 10-year flow over a crest of 0.10 m" in r["text"] for r in told)
    held = ["above the bed there; the lower bank is" in r["text"] for r in told]
    swale = ["Found: a swale" in r["text"] for r in told]
    assert all(h != s for h, s in zip(held, swale, strict=True))
    assert any(held)
    # and each tells what it holds back
    gain = {r["site_id"] for r in own if r["subject"] == "sediment held"}
    assert gain >= set(low)


def test_the_design_return_period_is_said(rows, worked) -> None:
    for i in range(1, worked.sites.count + 1):
        [flow] = [r for r in rows if r["site_id"] == i and r["subject"] == "design flow"]
        assert "1 in 10 a year" in flow["text"]
        assert "Manning" in flow["source"]


def test_a_site_names_its_work_and_the_rank_of_it(rows, worked) -> None:
    works = worked.takes.works
    for i in range(1, worked.sites.count + 1):
        [rank] = [r for r in rows if r["site_id"] == i and r["part"] == "rank"]
        assert f"It belongs to work {works.work_id[i - 1]}, " in rank["text"]
        assert f"rank {works.rank[i - 1]} of {len(works)}" in rank["text"]


def test_a_referral_tells_what_it_fails(referred) -> None:
    fails = [r for r in referred if r["verdict"] == "fails"]
    said = " ".join(r["text"] for r in fails)
    assert "above the 1.2 m that hands should build" in said
    assert "building" in said
    assert all(r["source"] for r in fails)
    others = [r for r in referred if r["part"] == "alternatives"]
    assert others
    assert all(r["verdict"] == "not chosen" for r in others)
    assert not [r for r in referred if r["part"] == "sizes"]
    assert [r for r in referred if r["part"] == "benefit"]


def test_what_the_ranch_lacks_is_an_alternative_with_its_reason() -> None:
    ground = ground_of(gully_raster(drop_m=0.8))
    sites, _ = sites_on(ground, BuildSettings(stock=Stock(have=frozenset({"logs"}))))
    assert "rock bowl" not in {p.structure for p in sites.each}
    told = rows_of(told_of(ground, sites))
    bowl = [r for r in told if r["subject"] == "rock bowl" and r["part"] == "alternatives"]
    assert bowl
    assert all("needs rock, which the ranch does not have" in r["text"] for r in bowl)


def test_without_a_flow_it_is_said_that_nothing_is_checked() -> None:
    ground = ground_of(gully_raster(drop_m=0.8))
    sites, _ = sites_on(ground, rainfall=None)
    flows = [r for r in rows_of(told_of(ground, sites, None)) if r["part"] == "flood"]
    assert len(flows) == sites.count
    assert all("not known" in r["text"] for r in flows)


def test_no_sites_no_rows(worked) -> None:
    none = worked.sites.take(np.array([], dtype=np.int64))
    columns = told_of(worked.ground, none)
    assert tuple(columns) == NAMES
    assert all(v.size == 0 for v in columns.values())
