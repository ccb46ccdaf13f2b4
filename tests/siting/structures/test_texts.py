"""What people read: whole sentences, this place's sizes, safety first."""

from __future__ import annotations

import re

import pytest

from siting.places.spot import Stock
from tests.siting.structures.example_spots import (
    FITTING,
    TYPES,
    UNKNOWN,
    head_spot,
    kind_of,
    small_head_spot,
)

NAMES = tuple(FITTING)
#: Endings of further sizes that say a unit.
UNITS = ("_m", "_m2", "_m3", "_kg", "_count", "_share", "_slope")
#: Places at which one thing after another fails.
BAD = (
    {"slope": 0.2},
    {"slope": 0.0},
    {"drop_m": 2.4},
    {"drop_m": float("nan")},
    {"bank_depth_m": 3.0},
    {"bank_width_m": 20.0},
    {"bank_width_m": float("nan"), "bankfull_width_m": float("nan")},
    {"drainage_area_ha": 120.0},
    {"area_complete": False},
    {"stock": Stock(have=frozenset())},
    {"q_m3s": (60.0,) * 6},
    {"q_m3s": UNKNOWN},
    {"needed_height_m": 0.5},
    {"bankfull_sure": False},
    {"height_limit_m": 0.0},
    {"setting": "fan"},
    {"opens": False},
    {"purpose": "somewhere else"},
    {"stage": 3},
    {"stage": 4},
)


def whole(sentence: str) -> bool:
    return (
        bool(re.match(r"[A-Z]", sentence))
        and sentence.endswith(".")
        and not sentence.endswith("..")
        and "  " not in sentence
        and "!" not in sentence
        and not re.search(r"\bnan\b|\binf\b|unknown (m|kg|ha|%|N|Pa)\b", sentence)
        and ";." not in sentence
    )


@pytest.mark.parametrize("name", [*NAMES, "engineer"])
@pytest.mark.parametrize("changes", BAD, ids=lambda c: next(iter(c)))
def test_every_sentence_is_whole(name: str, changes: dict[str, object]) -> None:
    kind = kind_of(name)
    spot = FITTING.get(name, head_spot)(**changes)
    size = kind.size(spot)
    said = [*kind.why_not(spot), *kind.cautions(spot, size), *kind.build_steps(spot, size)]
    said += [*size.notes, kind.summary]
    for failure in kind.failures():
        said += [failure.what, failure.look_for, failure.then]
    for sentence in said:
        assert whole(sentence), sentence
    for check in kind.checks(spot):
        assert check.passed == (not check.why_not)


@pytest.mark.parametrize("name", NAMES)
def test_every_further_size_has_its_unit(name: str) -> None:
    for size_name in kind_of(name).size(FITTING[name]()).dims:
        assert size_name.endswith(UNITS), size_name


@pytest.mark.parametrize("name", NAMES)
def test_build_steps_hold_the_sizes_of_the_place(name: str) -> None:
    kind = kind_of(name)
    spot, other = FITTING[name](), FITTING[name](bank_width_m=2.0, bed_width_m=1.5, drop_m=0.4)
    if name == "rolling dip":
        other = FITTING[name](slope=0.12)
    if name == "crescent spreader":
        other = FITTING[name](bankfull_width_m=4.0)
    steps = kind.build_steps(spot, kind.size(spot))
    assert len(steps) >= 5
    assert steps != kind.build_steps(other, kind.size(other))
    assert len(set(steps)) == len(steps)


@pytest.mark.parametrize("name", [n for n in NAMES if n != "rolling dip"])
def test_safety_stands_first(name: str) -> None:
    kind = kind_of(name)
    spot = FITTING[name]()
    steps = kind.build_steps(spot, kind.size(spot))
    assert "storms upstream" in steps[0]
    if kind.control == "vertical":
        assert "Never stand or kneel under the lip" in steps[1]
    assert any("people" in s or "person" in s for s in steps)
    assert any("first year" in s for s in steps)


@pytest.mark.parametrize("name", ["rock bowl", "log drop", "rock rundown"])
def test_the_lower_structure_is_built_first(name: str) -> None:
    kind = kind_of(name)
    spot = FITTING[name]()
    assert "below first" in " ".join(kind.build_steps(spot, kind.size(spot))[:3])


@pytest.mark.parametrize("name", NAMES)
def test_failures_can_be_inspected(name: str) -> None:
    failures = kind_of(name).failures()
    assert len(failures) >= 2
    assert len({f.what for f in failures}) == len(failures)


def test_common_limits_are_told_in_the_same_words_by_all() -> None:
    spot = head_spot(drop_m=2.4)
    told = [set(kind_of(n).why_not(spot)) for n in ("rock bowl", "log drop", "rock rundown")]
    assert "The drop, 2.4 m, is above the 1.2 m that hands should build." in set.intersection(*told)


def test_what_an_engineer_settles() -> None:
    engineer = TYPES["engineer"]
    spot = head_spot(drop_m=2.4, area_complete=False)
    text = " ".join(engineer.build_steps(spot, engineer.size(spot)))
    for part in ("a drop of 2.4 m", "only a part", "permits", "energy of the fall"):
        assert part in text


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"slope": 0.04}, "set one-rock dams close together"),
        ({"drainage_area_ha": 6.0}, "have the design reviewed"),
        ({"bank_width_m": 7.0}, "takes much material"),
        ({"bank_depth_m": 1.3}, "never work below an undercut bank"),
        ({"drop_m": 1.0}, "plan for more hands and days"),
        ({"q_m3s": (12.0,) * 6}, "leaves the channel"),
    ],
)
def test_cautions_of_a_headcut(changes: dict[str, object], says: str) -> None:
    kind = kind_of("rock bowl")
    spot = head_spot(**changes)
    assert says in " ".join(kind.cautions(spot, kind.size(spot)))
    assert says not in " ".join(kind.cautions(head_spot(), kind.size(head_spot())))


def test_a_rundown_says_that_it_has_no_pool_and_nothing_says_otherwise() -> None:
    kind, spot = kind_of("rock rundown"), small_head_spot()
    size = kind.size(spot)
    told = [*kind.cautions(spot, size), *kind.build_steps(spot, size), *size.notes, kind.summary]
    said = [text for text in told if "pool" in text]
    assert [text for text in said if text.startswith("It has no pool")] == said != []
