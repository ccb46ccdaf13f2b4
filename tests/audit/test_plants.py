"""The audit on plans as they are made and as they are revised, and with contradictions planted.

Real rasters are given invented rain. A planted contradiction is found where the audit tells
something of the plan with it that it does not tell of the plan without.
"""

from __future__ import annotations

import csv
import functools
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from cli.main import run
from cli.plan.plan_reading import read_plan
from siting.audit.plan_audit import RULES, Audit, audit
from siting.record.settings_used import settings_of
from siting.values.rules import Rules
from tests.audit.draft import Draft, NoPlaceError, Row
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
def plan_file(
    tmp_path_factory: pytest.TempPathFactory, real_dem: Callable[[str], Path]
) -> Callable[[str, str], Path]:
    """Return a function from the name of a plan and its units to its file."""
    folder = tmp_path_factory.mktemp("audited")

    @functools.cache
    def made(name: str, units: str) -> Path:
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
        return out

    return made


@pytest.fixture(scope="module")
def plan_of(plan_file: Callable[[str, str], Path]) -> Callable[[str, str], Tables]:
    """Return a function from the name of a plan and its units to the plan's tables, SI."""
    return functools.cache(lambda name, units: tables_of(plan_file(name, units)))


def tables_of(path: Path) -> Tables:
    plan = read_plan(path)
    return {layer: plan.layers[layer].columns for layer in plan.layers}


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


def measured(site: Row) -> Row:
    """About what was planned, and a depth where the elevations show none."""
    wide = [site[n] for n in ("width_m", "width_low_m") if np.isfinite(site[n])]
    deep = site["depth_m"] if np.isfinite(site["depth_m"]) else 0.9
    return {
        "measured_width": round(1.04 * wide[0], 2) if wide else "",
        "measured_depth": round(1.03 * deep, 2),
        "measured_drop": round(0.98 * site["headcut_height_m"], 3),
        "measured_slope_pct": round(105 * site["slope"], 2),
        "decision": "build",
    }


def narrower(site: Row) -> Row:
    wide = [site[n] for n in ("width_m", "width_low_m") if np.isfinite(site[n])]
    return {"measured_width": round(0.5 * wide[0], 2) if wide else ""}


def without_bases(site: Row) -> Row:
    return {"decision": "skip" if site["build_order"] == 1 else ""}


def referred_bases(site: Row) -> Row:
    return {"decision": "refer" if site["build_order"] == 1 else ""}


def deeper_bankfull(site: Row) -> Row:
    return {"measured_depth": 1.3, "measured_bankfull_depth": 0.8, "soil": "clay"}


def impossible(site: Row) -> Row:
    """By turns a bank below its bench, a drop three times as high, and a wide channel."""
    return (
        {"measured_depth": 0.2, "measured_bankfull_depth": 0.9},
        {"measured_drop": round(3.2 * site["headcut_height_m"], 2)},
        {"measured_width": 30},
    )[site["site_id"] % 3]


def moved(site: Row) -> Row:
    if site["control"] == "vertical":
        return {}
    return {"x": site["x"] + 3, "y": site["y"] - 4, "decision": "move", "measured_depth": 0.7}


NOTES = (measured, narrower, without_bases, referred_bases, deeper_bankfull, impossible, moved)


@pytest.mark.parametrize("note", NOTES, ids=lambda note: note.__name__)
@pytest.mark.parametrize("name", ["sample", "ranch_811", "moab_wash"])
def test_a_revised_plan_contradicts_itself_nowhere(
    plan_file: Callable[[str, str], Path], tmp_path: Path, name: str, note: Callable[[Row], Row]
) -> None:
    path = plan_file(name, "si")
    sites = read_plan(path).layers["sites"]
    rows = Draft.of({"sites": sites.columns}).rows("sites")
    assert sites.geometry is not None
    told = []
    for row, point in zip(rows, sites.geometry, strict=True):
        if row["work_id"] and row["purpose"] != "road":
            given = note(row | {"x": point.x, "y": point.y})
            told.append({"site_id": row["site_id"], **given})
    notes = tmp_path / "notes.csv"
    with open(notes, "w", newline="") as file:
        writer = csv.DictWriter(file, list(dict.fromkeys(k for row in told for k in row)))
        writer.writeheader()
        writer.writerows(
            {k: "" if isinstance(v, float) and np.isnan(v) else v for k, v in row.items()}
            for row in told
        )
    out = tmp_path / "revised.gpkg"

    assert run(["revise", str(path), str(notes), "--out", str(out), "--quiet"]) == 0

    tables = tables_of(out)
    assert len(tables["changes"]["site_id"]) > 5
    assert [str(c) for c in audited(tables).contradictions] == []


def test_a_plan_revised_twice_has_each_caution_once(
    plan_file: Callable[[str, str], Path], tmp_path: Path
) -> None:
    first, second = tmp_path / "first.gpkg", tmp_path / "second.gpkg"
    sample_notes = sample().notes
    assert sample_notes is not None
    more = tmp_path / "more.csv"
    plan = plan_file("sample", "si")
    assert run(["revise", str(plan), str(sample_notes), "--out", str(first), "--quiet"]) == 0
    sites = tables_of(first)["sites"]
    # widths of two of the sites that still have a range for one
    unseen_sites = sites["site_id"][np.isfinite(sites["width_low_m"])][:2].tolist()
    assert len(unseen_sites) == 2
    more.write_text(
        "site_id,measured_width_m\n" + "".join(f"{number},2.1\n" for number in unseen_sites)
    )
    assert run(["revise", str(first), str(more), "--out", str(second), "--quiet"]) == 0

    counts = []
    for path in (plan, first, second):
        assert [str(c) for c in audited(tables_of(path)).contradictions] == []
        info = read_plan(path).run_info
        texts = [v for k, v in info.items() if k.startswith(("caution ", "note "))]
        assert len(set(texts)) == len(texts)
        [unseen] = [t for t in texts if t.startswith("Nobody saw how wide")]
        counts.append(int(unseen.partition(" at ")[2].split()[0]))
    assert counts[1] <= counts[0]
    assert counts[2] == counts[1] - 2


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
