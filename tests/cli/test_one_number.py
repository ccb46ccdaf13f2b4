"""One text, one number: what a sentence says is what its field holds, in either system of units."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from cli.plan.plan_reading import PlanFile, read_plan
from terrain.values.reader_units import US_WORDS, Units, quantity
from tests.plans import sample_plan

SI_FIGURE = re.compile(
    rf"\d (?:{'|'.join(sorted(map(re.escape, US_WORDS), key=len, reverse=True))})(?![\w/'])"
)
FIGURE = (
    r"([\d.,]+(?: to [\d.,]+)? (?:sq ft|cu yd|lb/sq ft|ft/s|acres|miles|m3/s|m/s|[a-zA-Z0-9]+))"
)
UNITS: tuple[Units, ...] = ("si", "us")


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory) -> dict[Units, Path]:
    folder = tmp_path_factory.mktemp("plans")
    return {units: sample_plan(folder / f"plan_{units}.gpkg", units) for units in UNITS}


def texts(plan: PlanFile) -> Iterator[tuple[str, str]]:
    """Every text of a plan that is not the field guide, with where it stands."""
    for name, layer in plan.layers.items():
        if name in ("field_guide", "settings_used", "site_records", "run_info"):
            continue
        for column, values in layer.columns.items():
            if values.dtype == object:
                yield from ((f"{name}.{column}", str(v)) for v in values if v)
    for name, value in plan.run_info.items():
        if not name.startswith(("setting", "version")):
            yield f"run_info.{name}", value


def test_no_figure_of_a_plan_in_feet_is_left_in_metres(plans: dict[Units, Path]) -> None:
    left = [
        f"{where}: {text}"
        for where, text in texts(read_plan(plans["us"]))
        if SI_FIGURE.search(text) and not where.endswith((".unit", ".source", ".crs"))
    ]
    assert not left, "\n".join(left[:20])


#: Words of a sentence about a site -> field that holds the same number, and its SI unit.
SAID_OF_SITES: tuple[tuple[str, str, str], ...] = (
    (rf"^The bed drops {FIGURE} here", "headcut_height_m", "m"),
    (rf"{FIGURE} drain over it", "drainage_area_ha", "ha"),
)
#: The same for the reasons of a site.
SAID_IN_REASONS: tuple[tuple[str, str, str], ...] = (
    (rf"^(?:at least )?{FIGURE} drain to it", "drainage_area_ha", "ha"),
    (rf"in any year is {FIGURE}\.", "design_flow_m3s", "m3/s"),
    (rf"in 10 a year is {FIGURE}\.", "design_flow_m3s", "m3/s"),
    (rf"section it runs {FIGURE} deep", "design_depth_m", "m"),
    (rf"deep and {FIGURE} fast, pulls", "design_velocity_mps", "m/s"),
    (rf"pulls on the bed with {FIGURE},", "design_shear_pa", "Pa"),
    (rf"^About {FIGURE} of soil would go", "soil_at_risk_m3", "m3"),
    (rf"^New and tight it would hold a pool {FIGURE} long", "pool_length_m", "m"),
    (rf"^Height {FIGURE}:", "structure_height_m", "m"),
)


@pytest.mark.parametrize("units", UNITS)
def test_a_sentence_says_what_its_field_holds(plans: dict[Units, Path], units: Units) -> None:
    plan = read_plan(plans[units])
    sites = {int(row["site_id"]): row for row in plan.rows("sites")}
    said = [(int(r["site_id"]), str(r["reason"]), SAID_OF_SITES) for r in sites.values()]
    said += [(int(r["site_id"]), str(r["text"]), SAID_IN_REASONS) for r in plan.rows("reasons")]
    met: dict[str, int] = {}
    for site, text, known in said:
        for pattern, field, unit in known:
            found = re.search(pattern, text)
            value = float(sites[site].get(field, math.nan))
            if found is None or not math.isfinite(value):
                continue
            met[field] = met.get(field, 0) + 1
            assert found[1] == quantity(value, unit, units=units), f"site {site}, {field}: {text}"
    assert sum(met.values()) > 300
    assert {"headcut_height_m", "drainage_area_ha", "design_flow_m3s", "design_depth_m"} <= set(met)


@pytest.mark.parametrize("units", UNITS)
def test_a_headcut_is_as_high_in_its_sentence(plans: dict[Units, Path], units: Units) -> None:
    rows = read_plan(plans[units]).rows("headcuts")
    assert len(rows) > 20
    for row in rows:
        high = quantity(float(row["headcut_height_m"]), "m", units=units)
        assert str(row["evidence"]).startswith(f"The bed drops {high} within")


@pytest.mark.parametrize("units", UNITS)
def test_the_list_says_what_the_sentences_say(
    plans: dict[Units, Path], units: Units, command: Callable, tmp_path: Path
) -> None:
    """The area and the drop of the list stand in the explanation of the same site."""
    plan = read_plan(plans[units])
    # ranks are those of works, and a referred site has none: a site is asked for by its number
    ranked = [row for row in plan.rows("sites") if int(row["rank"]) > 0]
    by_rank = sorted(ranked, key=lambda row: int(row["list_place"]))
    assert len(by_rank) >= 4
    for row in by_rank[:4]:
        told = command("explain", plans[units], row["site_id"]).out
        area = quantity(float(row["drainage_area_ha"]), "ha", units=units)
        assert f"{area} drain to it" in " ".join(told.split())
        if units == "us":
            assert not SI_FIGURE.search(told), SI_FIGURE.search(told)


def test_a_shallow_swale_is_in_no_stage_of_incision(plans: dict[Units, Path]) -> None:
    plan = read_plan(plans["si"])
    swales = [r for r in plan.rows("sites") if r["setting"] in ("swale", "wet-meadow candidate")]
    assert swales
    for row in swales:
        assert not int(row["stage"] or 0)
        assert "widening" not in str(row["caution"])
    ids = {int(row["site_id"]) for row in swales}
    staged = [r for r in plan.rows("reasons") if r["subject"] == "stage of incision"]
    assert staged
    assert not ids & {int(r["site_id"]) for r in staged}
