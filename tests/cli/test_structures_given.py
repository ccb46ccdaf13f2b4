"""Options about what is built: what they give, and what contradicts itself."""

from __future__ import annotations

from typing import Any

import click
import pytest
from click.testing import CliRunner

from cli.given.structures_given import (
    MATERIALS,
    ROAD_SOILS,
    StructuresGiven,
    structure_options,
)
from siting.layout.keep_files import KeepFiles
from siting.places.spot import MATERIALS as OF_THE_LIBRARY
from siting.places.spot import Earth, Stock
from siting.structures.dip_spacing import SOILS


def taken(*arguments: str) -> tuple[StructuresGiven | None, str]:
    """What the options give, or the line that refuses them."""
    found: list[StructuresGiven] = []

    @click.command()
    @structure_options
    def probe(**given: Any) -> None:
        structures = StructuresGiven.taken_from(given)
        assert given == {}
        structures.check_usage()
        found.append(structures)

    result = CliRunner().invoke(probe, arguments)
    if found:
        assert result.exit_code == 0
        return found[0], ""
    assert result.exit_code == 2, result.output
    return None, " ".join(result.output.split())


def given(*arguments: str) -> StructuresGiven:
    structures, line = taken(*arguments)
    assert structures is not None, line
    return structures


def test_what_is_not_said_has_sensible_values() -> None:
    structures = given()
    assert structures.materials == {"rock", "logs", "brush"}
    assert structures.design_years == "10"
    assert (structures.budget, structures.crew_days, structures.anchor_hold) == (None, None, None)
    assert structures.stock() == Stock()
    assert structures.keep_files() is None
    means = structures.means()
    assert (means.spare, means.budget, means.crew_days) == (0.2, None, None)
    assert structures.notes() == ()
    assert list(structures.files()) == []


def test_materials_are_those_of_the_library() -> None:
    assert MATERIALS == OF_THE_LIBRARY


def test_everything_said_arrives() -> None:
    structures = given(
        "--materials", "Rock, logs", "--roads", "roads.gpkg", "--roads-layer", "tracks",
        "--keep-clear", "clear.geojson", "--wood", "Ponderosa Pine", "--stone-density", "2500",
        "--anchor-hold", "1200", "--costs", "costs.toml", "--budget", "5000", "--crew-days", "12.5",
        "--crew-size", "3", "--design-years", "25", "--spare", "15",
    )  # fmt: skip
    assert structures.materials == {"rock", "logs"}
    assert structures.wood == "ponderosa pine"
    assert structures.anchor_hold == 1200.0
    assert (structures.budget, structures.crew_days) == (5000.0, 12.5)
    assert structures.design_years == "25"
    stock = structures.stock()
    assert stock.have == {"rock", "logs"}
    assert (stock.wood, stock.stone_density_kg_m3) == ("ponderosa pine", 2500.0)
    assert stock.anchor_n_per_post == 1200.0
    assert structures.keep_files() == KeepFiles("roads.gpkg", "clear.geojson", "tracks", None)
    assert list(structures.files()) == [
        ("roads", "roads.gpkg"),
        ("keep clear", "clear.geojson"),
        ("costs", "costs.toml"),
    ]
    record = structures.record()
    assert record["materials"] == "rock,logs"
    assert record["roads_layer"] == "tracks"
    # Files stand in the record with their hashes, not here.
    assert not {"roads", "keep_clear", "costs"} & set(record)


def test_soil_and_cover_become_what_the_ground_is_made_of() -> None:
    assert given().earth() == Earth()
    told = given("--bank-soil", "Sandy  loam", "--bed-cover", "Bunch grass")
    assert told.earth() == told.settings().earth == Earth("SM", "bunch grass")
    assert (told.record()["bank_soil"], told.record()["bed_cover"]) == ("SM", "bunch grass")


def test_means_carry_money_crew_and_spare() -> None:
    means = given(
        "--budget", "5000", "--crew-days", "12.5", "--crew-size", "3", "--spare", "15"
    ).means()
    assert (means.budget, means.crew_days, means.crew_size, means.spare) == (5000.0, 12.5, 3, 0.15)


def test_nothing_but_the_road_may_be_worked_on() -> None:
    structures = given("--materials", "none", "--roads", "roads.gpkg")
    assert structures.materials == frozenset()
    assert structures.record()["materials"] == "none"


@pytest.mark.parametrize("spare", ["0", "14.9", "40"])
def test_an_unusual_spare_is_remarked_on(spare: str) -> None:
    (note,) = given("--spare", spare).notes()
    assert note.startswith(f"A spare of {spare} % was asked for; 15 to 25 % is usual")
    assert "no published source" in note


def test_a_budget_without_own_prices_is_remarked_on() -> None:
    (note,) = given("--budget", "100").notes()
    assert "the package's own costs" in note
    assert given("--budget", "100", "--costs", "costs.toml").notes() == ()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ("--materials rock,straw", "'straw' is no material; expected some of rock, logs, brush"),
        ("--materials rock,,logs", "an empty name is no material"),
        ("--materials rock,none", "'none' is no material"),
        ("--materials rock,rock", "rock is named twice"),
        ("--materials none", "leaves only what is made of earth on roads: give --roads"),
        ("--materials rock --wood juniper", "'juniper' is no wood of the table; expected one of"),
        ("--materials rock --anchor-hold 5", "--anchor-hold is about logs, but --materials"),
        ("--materials logs --stone-density 2500", "--stone-density is about rock, but --materials"),
        ("--roads-layer tracks", "--roads-layer is given without --roads."),
        ("--keep-clear-layer ponds", "--keep-clear-layer is given without --keep-clear."),
        ("--budget 0", "0 is out of range; expected a number above 0"),
        ("--budget -5", "-5 is out of range; expected a number above 0"),
        ("--budget nan", "nan is out of range"),
        ("--budget inf", "inf is out of range"),
        ("--budget much", "'much' is not a number"),
        ("--crew-days 0", "0 is out of range; expected a number above 0"),
        ("--anchor-hold -1", "-1 is out of range; expected a number of 0 or more"),
        ("--design-years 3", "'3' is not one of '2', '5', '10', '25', '50', '100'"),
        ("--spare 101", "101 is out of range; expected a number from 0 to 100"),
        ("--spare -1", "-1 is out of range"),
        ("--spare nan", "nan is out of range"),
        ("--stone-density 100", "expected a number from 1600 to 3300"),
        ("--bank-soil ML --bank-soil-field texture", "--bank-soil and --bank-soil-field are both"),
        ("--bank-soil mud", "'mud' is no soil of the table; expected one of SP, SM, SC, ML, CL-ML"),
        ("--bed-cover ivy", "'ivy' is no cover of the table; expected one of bare, bunch grass"),
    ],
)  # fmt: skip
def test_what_contradicts_itself_is_refused(arguments: str, message: str) -> None:
    structures, line = taken(*arguments.split())
    assert structures is None
    assert message in line


def test_wood_without_logs_is_refused() -> None:
    _, line = taken("--materials", "rock,brush", "--wood", "ponderosa pine")
    assert "--wood is about logs, but --materials has none" in line


def test_roads_may_be_kept_clear_of_only() -> None:
    assert given().settings().road_dips
    assert given().settings().road_soil == "erosive"
    settings = given("--roads", "r.gpkg", "--dips", "no").settings()
    assert not settings.road_dips
    assert settings.keep_files is not None
    assert given("--roads", "r.gpkg", "--road-soil", "firm").settings().road_soil == "firm"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--dips", "no"), "--dips no is given without --roads."),
        (("--road-soil", "firm"), "--road-soil is about dips on roads, but none are laid."),
        (
            ("--roads", "r.gpkg", "--dips", "no", "--road-soil", "firm"),
            "--road-soil is about dips on roads, but none are laid.",
        ),
        (
            ("--roads", "r.gpkg", "--dips", "no", "--materials", "none"),
            "give --roads, and not --dips no.",
        ),
        (("--roads", "r.gpkg", "--dips", "some"), "'some' is not one of 'yes', 'no'"),
        (("--roads", "r.gpkg", "--road-soil", "mud"), "'mud' is not one of 'erosive', 'firm'"),
    ],
)
def test_what_is_said_of_dips_has_to_agree(arguments: tuple[str, ...], says: str) -> None:
    structures, line = taken(*arguments)
    assert structures is None
    assert says in line


def test_soils_of_roads_are_those_of_the_library() -> None:
    assert ROAD_SOILS == SOILS
