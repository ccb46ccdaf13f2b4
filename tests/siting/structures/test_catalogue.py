"""Loading structure types, those of other packages among them, and the choice at one spot."""

from __future__ import annotations

import sys
import types
from importlib.metadata import EntryPoint
from typing import Any

import pytest

from siting.places.spot import Spot, Stock
from siting.structures.catalogue import choose, structure_types
from siting.structures.structure_type import Amount, Check, Failure, Size, StructureType
from terrain.values.plugins import STRUCTURES, PluginError
from tests.siting.structures.example_spots import (
    FITTING,
    TYPES,
    grade_spot,
    head_spot,
    log_head_spot,
    small_head_spot,
    wide_spot,
)


class HayBale(StructureType):
    """A made-up type of another package."""

    name = "hay bale"
    purposes = ("grade",)
    control = "grade"
    materials_needed = frozenset[str]()
    summary = "A row of bales."
    suitability = 1.0

    def checks(self, spot: Spot) -> tuple[Check, ...]:
        ok = spot.slope < 0.05
        return (Check("", "gentle", "so", ok, "" if ok else "Too steep.", "invented", "invented"),)

    def suits(self, spot: Spot) -> float:
        return self.suitability

    def size(self, spot: Spot) -> Size:
        return Size(0.1, 0.5, 2.0)

    def materials(self, spot: Spot, size: Size) -> tuple[Amount, ...]:
        return (Amount("pickets", 4),)

    def cautions(self, spot: Spot, size: Size) -> tuple[str, ...]:
        return ()

    def build_steps(self, spot: Spot, size: Size) -> tuple[str, ...]:
        return ("Set the bales.",)

    def failures(self) -> tuple[Failure, ...]:
        return (Failure("It rots.", "Loose straw.", "Replace it."),)


def variant(kind: str, /, **changes: Any) -> type[HayBale]:
    return type(kind, (HayBale,), changes)


class NoProtocol:
    name = "pebble"


@pytest.fixture
def other_package(monkeypatch: pytest.MonkeyPatch) -> Any:
    module = types.ModuleType("other_structures")
    found = {
        "HayBale": HayBale,
        "NoProtocol": NoProtocol,
        "Engineer": variant("Engineer", name="engineer"),
        "Referring": variant("Referring", name="referring", control="refer"),
        "Floating": variant("Floating", name="floating", control="air"),
        "Aimless": variant("Aimless", name="aimless", purposes=()),
        "Nowhere": variant("Nowhere", name="nowhere", purposes=("roof",)),
        "Golden": variant("Golden", name="golden", materials_needed=frozenset({"gold"})),
        "Silent": variant("Silent", name="silent", summary=" "),
        "Priceless": variant("Priceless", name="priceless", priced_whole="hay_bale"),
    }
    for name, value in found.items():
        setattr(module, name, value)
    monkeypatch.setitem(sys.modules, module.__name__, module)

    def entry(name: str, value: str) -> EntryPoint:
        return EntryPoint(name, f"{module.__name__}:{value}", STRUCTURES)

    return entry


def test_all_built_in_types_are_installed() -> None:
    assert TYPES.broken == ()
    assert set(FITTING) | {"engineer"} <= set(TYPES.names)


def test_a_type_of_another_package_loads_and_is_chosen(other_package: Any) -> None:
    found = structure_types([other_package("hay bale", "HayBale")])
    assert found.names == ("hay bale",)
    chosen = choose(grade_spot(), [*TYPES, *found])
    assert chosen.type is found["hay bale"]
    assert chosen.why_not["one-rock dam"] == (
        "A one-rock dam would fit as well; a hay bale suits the place better.",
    )


def test_a_type_may_be_priced_by_an_entry_that_the_prices_in_use_have(other_package: Any) -> None:
    entry = other_package("priceless", "Priceless")
    assert structure_types([entry]).names == ()
    assert structure_types([entry], wholes=("rolling_dip", "hay_bale")).names == ("priceless",)


@pytest.mark.parametrize(
    ("name", "value", "why"),
    [
        ("pebble", "NoProtocol", "it lacks purposes, control"),
        ("engineer", "Engineer", "the name 'engineer' is reserved"),
        ("referring", "Referring", "referring to an engineer is not left to other packages"),
        ("floating", "Floating", "its control is 'air'"),
        ("aimless", "Aimless", "its purposes are ()"),
        ("nowhere", "Nowhere", "its purposes are ('roof',)"),
        ("golden", "Golden", "it needs gold; known are rock, logs and brush"),
        ("silent", "Silent", "it has no summary"),
        ("priceless", "Priceless", "it is priced as a whole by 'hay_bale'; costs.toml has rolling"),
        ("gone", "Gone", "AttributeError"),
    ],
)
def test_a_broken_one_is_named_and_left_out(
    other_package: Any, name: str, value: str, why: str
) -> None:
    found = structure_types([other_package(name, value), other_package("hay bale", "HayBale")])
    assert found.names == ("hay bale",)
    (warning,) = found.warnings()
    assert warning.startswith(f"The structure type {name} (other_structures:{value}")
    assert why in warning


def test_one_that_fails_at_its_work_is_named() -> None:
    def fails(self: HayBale, spot: Spot) -> tuple[Check, ...]:
        raise ZeroDivisionError("no bales")

    broken = variant("Broken", name="broken bale", checks=fails)()
    with pytest.raises(PluginError, match="structure type 'broken bale' failed: ZeroDivision"):
        choose(grade_spot(), [*TYPES, broken])


@pytest.mark.parametrize("value", [1.2, -0.1, float("nan")])
def test_suitability_runs_from_0_to_1(value: float) -> None:
    with pytest.raises(PluginError, match="not 0 to 1"):
        choose(grade_spot(), [variant("Loud", suitability=value)()])


def test_equals_are_settled_by_name_whatever_their_order() -> None:
    a, b = variant("A", name="a bale")(), variant("B", name="b bale")()
    assert choose(grade_spot(), [a, b]).type is choose(grade_spot(), [b, a]).type is a


@pytest.mark.parametrize(
    ("spot", "name"),
    [
        (grade_spot(), "one-rock dam"),
        (wide_spot(), "one-rock dam"),
        (wide_spot(stock=Stock(have=frozenset({"logs", "brush"}))), "log mat"),
        (wide_spot(stock=Stock(have=frozenset({"rock"}))), "one-rock dam"),
        (head_spot(), "rock bowl"),
        (small_head_spot(), "rock rundown"),
        (log_head_spot(stock=Stock(have=frozenset({"logs"}))), "log drop"),
        *((make(), name) for name, make in FITTING.items() if name in ("crescent spreader",
                                                                       "rolling dip")),
    ],
)  # fmt: skip
def test_the_best_that_fits(spot: Spot, name: str) -> None:
    chosen = choose(spot, TYPES)
    assert chosen.type is TYPES[name]
    assert set(chosen.checks) == set(TYPES.names) - {"engineer"}
    assert set(chosen.why_not) == set(chosen.checks) - {name}
    assert all(chosen.why_not.values())


def test_nothing_is_chosen_where_nothing_fits() -> None:
    chosen = choose(head_spot(drop_m=2.4), TYPES)
    assert chosen.type is None
    assert "engineer" not in chosen.checks
    assert all(any("hands should build" in s for s in chosen.why_not[n]) for n in
               ("rock bowl", "log drop", "rock rundown"))  # fmt: skip
