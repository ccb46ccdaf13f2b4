"""Stops of a walk: a work is one, its sites visited in the order of building."""

from __future__ import annotations

import gzip
from pathlib import Path
from types import SimpleNamespace

import pytest

from cli.plan.plan_reading import PlanFile, read_plan
from cli.plan.plan_works import is_built, not_built, site_groups, tells_works
from cli.plan.work_sentences import chance_words, count_words, in_ten, saved_words
from cli.waypoints.walk_words import stop_numbers, stops_words, works_words
from cli.waypoints.waypoint import names_by_site, waypoints_of
from siting.walking.stops import Place, stops_of
from tests.example_packet import write_packet_plan

OLD = Path(__file__).parents[1] / "data" / "plan_format_1" / "plan.gpkg.gz"


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> PlanFile:
    return read_plan(write_packet_plan(tmp_path_factory.mktemp("plan") / "plan.gpkg"))


@pytest.fixture(scope="module")
def old(tmp_path_factory: pytest.TempPathFactory) -> PlanFile:
    path = tmp_path_factory.mktemp("old") / "plan.gpkg"
    path.write_bytes(gzip.decompress(OLD.read_bytes()))
    return read_plan(path)


def test_names_lead_with_the_rank_and_kind_of_the_work(plan: PlanFile) -> None:
    assert [p.name for p in waypoints_of(plan)] == [
        "1.1 headcut: one-rock dam",
        "1.2 headcut: rock bowl",
        "2 headcut: one-rock dam",
        "E1 ask an engineer",
    ]
    assert waypoints_of(plan)[1].note.startswith("Site 1, work 1, rank 1, number 2 of 2. Build:")
    assert "number 1 of what an engineer looks at" in waypoints_of(plan)[3].note


def test_a_stop_per_work(plan: PlanFile) -> None:
    points = waypoints_of(plan)
    places = [Place(p.site_id, p.x_m, p.y_m, p.stop_id, p.build_order) for p in points]
    stops = [[places[i].site_id for i in stop.members] for stop in stops_of(places)]
    works = [[int(s["site_id"]) for s in g.sites] for g in site_groups(plan.layers)]
    waiting = [[int(w.site["site_id"])] for w in not_built(plan.layers)]
    assert stops == works + waiting
    assert stops_words(points) == "3 stops (4 sites)"
    legs = [SimpleNamespace(to_site=n) for n in (4, 2, 1, 3, None)]
    assert stop_numbers(legs, names_by_site(points)) == [1, 2, 2, 3, 4]  # type: ignore[arg-type]


def test_the_first_works_come_with_all_their_sites(plan: PlanFile) -> None:
    assert [p.site_id for p in waypoints_of(plan, top=1)] == [2, 1]
    assert [p.site_id for p in waypoints_of(plan, top=9)] == [2, 1, 3]


def test_in_a_plan_of_an_older_format_each_site_stands_alone(old: PlanFile) -> None:
    assert not tells_works(old.layers)
    groups = site_groups(old.layers)
    ranks = sorted(old.sites["rank"].tolist())
    assert all(len(g.sites) == 1 and g.work is None for g in groups)
    assert len(groups) + len(not_built(old.layers)) == len(ranks)
    points = waypoints_of(old)
    assert [int(p.mark) for p in points] == ranks
    assert [int(p.name.split()[0]) for p in points] == ranks
    assert len(waypoints_of(old, top=2)) == 2
    assert count_words(groups, not_built(old.layers)) == f"{len(ranks)} sites, ranked"


def test_a_control_that_is_not_known_is_not_built() -> None:
    assert is_built({"control": "spread"})
    assert not is_built({"control": "refer"})
    assert not is_built({"control": "hold"})


@pytest.mark.parametrize(
    ("chance", "words"),
    [(0.0, "none"), (0.001, "under 1 in 100"), (0.04, "4 in 100"), (0.05, "5 in 100"),
     (0.06, "6 in 100"), (0.64, "6 in 10"), (0.95, "95 in 100"), (0.999, "over 99 in 100"),
     (1.0, "certain"), (float("nan"), "unknown")],
)  # fmt: skip
def test_chances_are_told_as_times_in_ten(chance: float, words: str) -> None:
    assert in_ten(chance) == words


def test_what_a_work_saves_is_told_with_both_parts(plan: PlanFile) -> None:
    (work, *_) = plan.rows("works")
    assert saved_words(work, "si") == (
        "40 m3 of soil and 0.040 ha of whole floor within 20 years, counted as 80 m3 of soil."
    )
    soil = {**work, "swale_saved_ha": 0.0}
    assert saved_words(soil, "si") == "40 m3 of soil within 20 years."
    nothing = {**soil, "soil_saved_m3": 0.0}
    assert saved_words(nothing, "si") == "No soil and no floor within 20 years."
    assert "0.80 (8 in 10)" in chance_words(work)


def test_a_loop_speaks_of_works_and_has_its_sites_in_brackets(plan: PlanFile) -> None:
    points = waypoints_of(plan)
    assert works_words(points) == "2 works and 1 place not for hands (4 sites)"
    assert works_words(points[:3]) == "2 works (3 sites)"
    assert works_words(points[2:3]) == "1 work"
    assert works_words(points[3:]) == "1 place not for hands"
