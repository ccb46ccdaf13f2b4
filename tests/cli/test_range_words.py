"""The range of a flow in words: on the sheet, on the page, in explanations."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from cli.packet import site_sheet_parts
from cli.page import sheet_words
from cli.plan.explanation import Explanation, Wanted, explanation
from cli.plan.plan_reading import read_plan
from cli.plan.range_words import range_sentences, range_words, storm_words
from tests.example_stretch import write_stretch

NO = math.nan


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Explanation:
    path: Path = write_stretch(tmp_path_factory.mktemp("plan") / "plan.gpkg")
    plan = read_plan(path, command="explain")
    return explanation(plan.layers, Wanted(1), plan=plan.name, units=plan.units)


def with_flood(found: Explanation, **changes: Any) -> Explanation:
    """The same site with other numbers in the row of its flood."""
    rows = dict(found.rows)
    rows["floods"] = tuple(row | changes if row["used"] else row for row in found.rows["floods"])
    return replace(found, rows=rows)


def test_sheet_and_page_say_the_range_and_what_rules_it(found: Explanation) -> None:
    said = range_sentences(found)
    assert said[0] == (
        "Range of that flow: 0.25 to 0.70 m3/s; it rests on: curve number 5 higher or lower."
    )
    assert said[1].startswith(
        "The same rain gives 0.12 m3/s after dry days and 1.3 m3/s after wet "
    )
    assert set(said) <= set(site_sheet_parts.flood(found))
    block = sheet_words._flood(found)
    assert block is not None
    assert set(said) <= set(block["notes"])


def test_regional_flows_come_with_the_areas_they_were_fitted_on(found: Explanation) -> None:
    source = "A region: a report, table 1; fitted on drainage areas of 47 to 90 ha"
    regional = with_flood(found, method="regional", source=source)
    assert range_sentences(regional)[0] == f"By regional equations: {source}."
    assert any("47 to 90 ha" in said for said in site_sheet_parts.flood(regional))
    assert not any("regional" in said for said in range_sentences(found))


def test_open_ends_and_what_is_not_known(found: Explanation) -> None:
    flood = found.flood_range
    assert range_words(flood | {"high_m3s": NO}, "si") == "at least 0.25 m3/s"
    assert range_words(flood | {"low_m3s": NO, "high_m3s": NO}, "si") == ""
    assert range_words(None, "si") == storm_words(None, "si") == ""
    assert range_words(flood, "us") == "8.8 to 25 cfs"
    # a plan from before this was told
    old = with_flood(found, range_from=None, dry_m3s=NO, wet_m3s=NO)
    assert range_sentences(old) == ("Range of that flow: 0.25 to 0.70 m3/s.",)
    assert range_sentences(with_flood(found, low_m3s=NO, high_m3s=NO, dry_m3s=NO)) == ()


def test_a_cut_off_drainage_area_gives_a_minimum(found: Explanation) -> None:
    cut = dict(found.site) | {"area_complete": False, "design_flow_m3s": NO, "q10_m3s": 0.42}
    [said] = site_sheet_parts.flood(replace(found, site=cut))
    assert said == (
        "The raster cuts off part of the land that drains here: the part that it shows gives at "
        "least 0.42 m3/s. The flood is larger."
    )
    [said] = site_sheet_parts.flood(replace(found, site=cut | {"q10_m3s": NO}))
    assert said.startswith("The raster cuts off part of the land that drains here. ")
