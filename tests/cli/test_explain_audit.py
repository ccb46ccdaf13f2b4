"""``gullywalk explain PLAN --audit``: where a plan contradicts itself, if anywhere."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from cli.main import DONE, USAGE
from tests.golden.cases import FLOOD

CONTRADICTS = 1


@pytest.fixture
def plan(command: Callable, write_dem: Callable[..., Path], tmp_path: Path) -> Path:
    out = tmp_path / "plan.gpkg"
    ended = command("screen", write_dem(), "--vertical-unit", "m", *FLOOD, "--out", out)
    assert ended.code == DONE, ended.err
    return out


def spoil(plan: Path) -> int:
    """Move the drainage area of one site away from what its sentences say; its number."""
    with sqlite3.connect(plan) as db:
        # the triggers of the spatial index need functions that only GDAL has
        for (name,) in db.execute(
            "select name from sqlite_master where type = 'trigger'"
        ).fetchall():
            db.execute(f'drop trigger "{name}"')
        (site,) = db.execute("select min(site_id) from sites where purpose != 'road'").fetchone()
        db.execute(
            "update sites set drainage_area_ha = 3 * drainage_area_ha where site_id = ?", (site,)
        )
    return int(site)


def test_a_plan_as_it_is_made_ends_well(command: Callable, plan: Path) -> None:
    ended = command("explain", plan, "--audit")

    assert ended.code == DONE, ended.out
    assert ended.out.startswith("plan.gpkg: 0 contradictions among ")
    assert len(ended.out.splitlines()) == 1


def test_each_contradiction_is_a_line_and_the_last_counts_them(
    command: Callable, plan: Path
) -> None:
    site = spoil(plan)

    ended = command("explain", plan, "--audit")

    *lines, last = ended.out.splitlines()
    assert ended.code == CONTRADICTS
    assert lines
    assert all(line.startswith(f"site {site}: ") for line in lines)
    assert last.startswith(f"plan.gpkg: {len(lines)} contradiction")


def test_json_has_the_same_and_what_was_compared(command: Callable, plan: Path) -> None:
    site = spoil(plan)

    ended = command("explain", plan, "--audit", "--json")

    document = json.loads(ended.out)
    assert ended.code == CONTRADICTS
    assert {c["about"] for c in document["contradictions"]} == {f"site {site}"}
    assert all(c["rule"] in document["compared"] for c in document["contradictions"])
    assert document["compared"]["drainage area"] > 0


def test_it_is_of_the_whole_plan_and_without_it_a_site_is_needed(
    command: Callable, plan: Path
) -> None:
    both, neither = command("explain", plan, "1", "--audit"), command("explain", plan)

    assert both.code == neither.code == USAGE
    assert "leave out SITE" in both.line
    assert "no site is given" in neither.line
