"""The audit on plans as they are made, and on plans with one contradiction planted in each.

Real rasters are given invented rain. A planted contradiction is found where the audit tells
something of the plan with it that it does not tell of the plan without.
"""

from __future__ import annotations

import functools
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from numpy.typing import NDArray

from cli.main import run
from cli.plan.plan_reading import read_plan
from siting.audit.plan_audit import RULES, Audit, audit
from siting.record.settings_used import settings_of
from siting.values.rules import Rules
from tests.audit.draft import Draft, NoPlaceError
from tests.audit.plants import PLANTS
from tests.golden.cases import FLOOD, generated, sample

Tables = Mapping[str, Mapping[str, NDArray[Any]]]

#: Name -> what to screen it with, units aside; ranches by seed.
RANCHES = {"ranch_811": (811, ("--budget", "12000")), "ranch_812": (812, ())}
REAL = {"pozo_4m": "pozo/pozo_4m.tif", "moab_wash": "real/moab_wash.tif"}
PLANS = ("sample", *RANCHES, *REAL)
#: Contradictions of these kinds have to be found in so many of ten.
FOUND_IN_TEN = 9


@pytest.fixture(scope="module")
def plan_of(
    tmp_path_factory: pytest.TempPathFactory, real_dem: Callable[[str], Path]
) -> Callable[[str, str], Tables]:
    """Return a function from the name of a plan and its units to the plan's tables, SI."""
    folder = tmp_path_factory.mktemp("audited")

    @functools.cache
    def tables(name: str, units: str) -> Tables:
        if name == "sample":
            given: tuple[str, ...] = (*sample().screen, "--budget", "15000")
        elif name in RANCHES:
            seed, more = RANCHES[name]
            with warnings.catch_warnings():
                # rasterio's own, where it writes the ranch
                warnings.simplefilter("ignore", PendingDeprecationWarning)
                given = (*generated(folder, seed).screen, *more)
        else:
            given = (str(real_dem(REAL[name])), *FLOOD)
        out = folder / f"{name}_{units}.gpkg"
        assert run(["screen", *given, "--units", units, "--out", str(out), "--quiet"]) == 0
        plan = read_plan(out)
        return {layer: plan.layers[layer].columns for layer in plan.layers}

    return tables


def audited(tables: Tables) -> Audit:
    record, settings = tables["run_info"], tables["settings_used"]
    facts = dict(zip(record["name"], record["value"], strict=True))
    return audit(tables, facts, rules=rules_in(tuple(settings["name"]), tuple(settings["text"])))


@functools.cache
def rules_in(names: tuple[str, ...], texts: tuple[str, ...]) -> Rules:
    """Limits in the settings of a plan; most contradictions leave those as they are."""
    return settings_of(dict(zip(names, texts, strict=True))).rules


@pytest.fixture(scope="module")
def planted_in(
    plan_of: Callable[[str, str], Tables],
) -> Callable[[str, str], tuple[tuple[str, str, bool], ...]]:
    """Return a function from a plan and its units to what `planted` says of it, asked once."""

    @functools.cache
    def of(name: str, units: str) -> tuple[tuple[str, str, bool], ...]:
        return tuple(planted(plan_of(name, units)))

    return of


def planted(tables: Tables) -> Iterator[tuple[str, str, bool]]:
    """Name and kind of each contradiction that the plan has a place for, and whether it shows."""
    known = {str(c) for c in audited(tables).contradictions}
    for plant in PLANTS:
        draft = Draft.of(tables)
        try:
            plant.put(draft)
        except NoPlaceError:
            continue
        told = {str(c) for c in audited(draft.tables).contradictions}
        yield plant.name, plant.kind, bool(told - known)


@pytest.mark.parametrize("units", ["si", "us"])
@pytest.mark.parametrize("name", PLANS)
def test_a_plan_contradicts_itself_nowhere(
    plan_of: Callable[[str, str], Tables], name: str, units: str
) -> None:
    found = audited(plan_of(name, units)).contradictions

    assert [str(c) for c in found] == []


def test_every_rule_compares_something_on_some_plan(
    plan_of: Callable[[str, str], Tables],
) -> None:
    compared = Counter[str]()
    for name in ("sample", *RANCHES):
        for rule, count in audited(plan_of(name, "si")).compared.items():
            compared[rule] += count

    assert [rule for rule, count in compared.items() if not count] == []
    assert set(compared) == set(RULES)


@pytest.mark.parametrize(("name", "units"), [("sample", "si"), ("ranch_811", "us")])
def test_planted_contradictions_are_found(
    planted_in: Callable[[str, str], tuple[tuple[str, str, bool], ...]],
    name: str,
    units: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    every = planted_in(name, units)
    missed = [f"{plant} ({kind})" for plant, kind, shows in every if not shows]

    with capsys.disabled():
        print(
            f"\n{name}: {len(every) - len(missed)} of {len(every)} planted contradictions found"
            f"{', not ' if missed else ''}{', '.join(missed)}"
        )
    assert len(every) >= 40
    assert 10 * (len(every) - len(missed)) >= FOUND_IN_TEN * len(every), missed


def test_each_kind_is_planted_in_the_sample(
    planted_in: Callable[[str, str], tuple[tuple[str, str, bool], ...]],
) -> None:
    kinds = Counter(kind for _, kind, _ in planted_in("sample", "si"))

    assert set(kinds) == {plant.kind for plant in PLANTS}
    assert min(kinds.values()) >= 5
