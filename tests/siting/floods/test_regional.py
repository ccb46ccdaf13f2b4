"""Regional equations: the method's flags and weighting, and files of equations."""

import copy
from pathlib import Path

import numpy as np
import pytest

from siting.floods.data_files import data_file
from siting.floods.flood_errors import RegionalEquationError
from siting.floods.flood_method import FloodMethod, SiteFloodInputs
from siting.floods.regional import RegionalMethod, fitted_on
from siting.floods.regional_equations import (
    built_in_equations,
    parse_equations,
    read_equations,
)
from tests.siting.floods.estimates import notes_at

METHOD = RegionalMethod()
USER = """
[[region]]
id = "home"
title = "Home valley"
report = "Valley study, 2020"
table = "table 3"
terms = [
  { variable = "drainage_area_mi2", lowest = 0.1, highest = 50 },
  { variable = "mean_elevation_ft", scale = 0.001 },
]
equations = [
  { years = 2, coefficient = 20, exponents = [0.5, 0.0] },
  { years = 10, coefficient_log10 = 2.0, exponents = [0.5, -1.0], error_log10 = 0.2 },
]
"""


def codes(estimate, site: int) -> set[str]:
    return {flag.code for flag in estimate.flags if flag.where[site]}


def test_it_is_a_flood_method() -> None:
    assert isinstance(METHOD, FloodMethod)


def test_every_built_in_region_grows_with_area_and_return_period() -> None:
    areas = np.geomspace(300.0, 30_000.0, 12)
    basin = {
        "mean_elevation_m": 2100.0,
        "mean_annual_precipitation_mm": 400.0,
        "outlet_longitude_deg_w": 107.0,
        "soils_index": 3.0,
        "percent_above_7500_ft": 20.0,
    }
    book = built_in_equations()
    assert len(book.regions) == 20
    for region in book.regions.values():
        inputs = SiteFloodInputs(areas, mean_slope=0.1, regions={region.id: 1.0}, basin=basin)
        before = np.zeros(areas.size)
        for years in region.return_periods_yr:
            flow = METHOD.peak_flow(inputs, years).value_m3s
            assert (np.diff(flow) > 0).all(), (region.id, years)
            assert (flow > before).all(), (region.id, years)
            before = flow  # type: ignore[assignment]


def test_range_is_one_standard_error() -> None:
    inputs = SiteFloodInputs([5000.0], regions={"WY-2": 1.0})
    estimate = METHOD.peak_flow(inputs, 100)
    np.testing.assert_allclose(estimate.low_m3s, estimate.value_m3s * 10**-0.227)
    np.testing.assert_allclose(estimate.high_m3s, estimate.value_m3s * 10**0.227)
    assert estimate.range_source == "one standard error of prediction"
    assert "WRIR" not in notes_at(estimate, 0)[0]
    assert "Water-Resources Investigations Report 03-4107" in notes_at(estimate, 0)[0]
    assert estimate.limits_met.all()
    nevada = METHOD.peak_flow(SiteFloodInputs([5000.0], regions={"NV-10": 1.0}), 100)
    assert np.isnan(nevada.low_m3s).all()
    assert nevada.range_source == ""


def test_out_of_range_is_flagged_and_kept() -> None:
    inputs = SiteFloodInputs([5.0, 5000.0], regions={"WY-2": 1.0})
    estimate = METHOD.peak_flow(inputs, 100)
    assert np.isfinite(estimate.value_m3s).all()
    assert estimate.limits_met.tolist() == [False, True]
    assert codes(estimate, 0) == {"source", "out_of_range"}
    assert notes_at(estimate, 0)[1].endswith(
        "the drainage area lies outside those of the gages, 15.5 to 536,000 ha."
    )


def test_unknown_measures_leave_the_flow_empty_only_where_they_are_used() -> None:
    inputs = SiteFloodInputs([5000.0], regions={"NM-2": 1.0})
    two_years = METHOD.peak_flow(inputs, 2)
    assert np.isfinite(two_years.value_m3s).all()
    hundred = METHOD.peak_flow(inputs, 100)
    assert np.isnan(hundred.value_m3s).all()
    assert codes(hundred, 0) == {"source", "input_missing"}


def test_return_periods_between_equations_are_not_guessed() -> None:
    estimate = METHOD.peak_flow(SiteFloodInputs([5000.0], regions={"WY-2": 1.0}), 30)
    assert np.isnan(estimate.value_m3s).all()
    assert "has no equation for 30 years" in notes_at(estimate, 0)[1]


def test_area_weighting_over_sites() -> None:
    areas = [5000.0, 5000.0, 5000.0]
    shares = {"WY-2": [1.0, 0.0, 0.25], "NM-7": [0.0, 1.0, 0.75]}
    estimate = METHOD.peak_flow(SiteFloodInputs(areas, regions=shares), 10)
    first, second, mixed = estimate.value_m3s
    assert mixed == pytest.approx(0.25 * first + 0.75 * second)
    assert codes(estimate, 0) == {"source"}
    assert len(notes_at(estimate, 2)) == 2
    part = METHOD.peak_flow(SiteFloodInputs(areas, regions={"WY-2": 0.6}), 10)
    assert np.isnan(part.value_m3s).all()
    assert "shares" in codes(part, 0)


def test_no_region_and_wrong_names() -> None:
    estimate = METHOD.peak_flow(SiteFloodInputs([50.0]), 10)
    assert notes_at(estimate, 0) == ("No region was given.",)
    with pytest.raises(RegionalEquationError, match=r"region 'WY2' .*did you mean WY-2"):
        METHOD.peak_flow(SiteFloodInputs([50.0], regions={"WY2": 1.0}), 10)
    wrong = SiteFloodInputs([50.0], regions={"WY-2": 1.0}, basin={"mean_elevation_ft": 6000.0})
    with pytest.raises(RegionalEquationError, match="basin measure 'mean_elevation_ft'"):
        METHOD.peak_flow(wrong, 10)


def test_user_file(tmp_path: Path) -> None:
    path = tmp_path / "equations.toml"
    path.write_text(USER)
    inputs = SiteFloodInputs(
        [2589.988],
        regions={"home": 1.0},
        basin={"mean_elevation_m": 1524.0},
        equations=read_equations(path),
    )
    two, ten = (METHOD.peak_flow(inputs, years) for years in (2, 10))
    assert two.value_m3s / 0.0283168 == pytest.approx(20 * 10**0.5, rel=1e-4)
    assert ten.value_m3s / 0.0283168 == pytest.approx(100 * 10**0.5 / 5, rel=1e-4)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            '"drainage_area_mi2"',
            '"drainage_aera_mi2"',
            r"variable 'drainage_aera_mi2' is not known \(did you mean drainage_area_mi2\?\)",
        ),
        ("lowest", "lowset", r"'lowset' is not known \(did you mean lowest\?\)"),
        ("coefficient =", "coeficient =", r"'coeficient' is not known \(did you mean coefficient"),
        ("[0.5, 0.0]", "[0.5]", "2 years: 1 exponents; expected 2, one for each term"),
        ("[0.5, 0.0]", '[0.5, "x"]', "an exponent is 'x'; expected a number"),
        ("coefficient = 20", "coefficient = -20", "coefficient -20"),
        ("years = 10", "years = 2", "two equations for one return period"),
        ("years = 10,", "", "lacks years or exponents"),
        ("coefficient = 20, ", "", "give coefficient or coefficient_log10"),
        ("scale = 0.001", 'form = "square"', "form 'square'"),
        ('report = "Valley study, 2020"', "", "lacks report"),
        ("[[region]]", "[[regions]]", r"'regions' is not known \(did you mean region\?\)"),
        ("[[region]]", "[[region", "cannot be read as TOML"),
        ("scale = 0.001", 'form = "base"', "base of 0; expected a base above zero"),
    ],
)
def test_user_file_refused(tmp_path: Path, old: str, new: str, message: str) -> None:
    path = tmp_path / "equations.toml"
    path.write_text(USER.replace(old, new))
    with pytest.raises(RegionalEquationError, match=message):
        read_equations(path)


def test_more_files_refused(tmp_path: Path) -> None:
    with pytest.raises(RegionalEquationError, match=r"none\.toml cannot be read"):
        read_equations(tmp_path / "none.toml")
    with pytest.raises(RegionalEquationError, match="holds no region"):
        parse_equations({"region": []}, name="x")
    twice = copy.deepcopy(data_file("usgs_regional.toml"))
    twice["region"].append(twice["region"][0])
    with pytest.raises(RegionalEquationError, match="holds region 'WY-1' twice"):
        parse_equations(twice, name="x")
    empty = copy.deepcopy(data_file("usgs_regional.toml"))
    empty["region"][1]["equations"] = []
    with pytest.raises(RegionalEquationError, match="region 'WY-2' is empty"):
        parse_equations(empty, name="x")


def test_every_source_says_the_areas_it_was_fitted_on() -> None:
    book = built_in_equations()
    for region in book.regions.values():
        lowest, highest = region.area_range_mi2
        assert 0 < lowest < highest < np.inf
        estimate = METHOD.peak_flow(SiteFloodInputs([50.0], regions={region.id: 1.0}), 100)
        [source] = [f.text for f in estimate.flags if f.code == "source"]
        assert f"; {fitted_on(region)}" in source
        assert ("newer, but not had: Kohn" in source) == region.id.startswith("CO-")


@pytest.mark.parametrize(
    ("old", "words"),
    [
        ("lowest = 0.1, highest = 50", "fitted on drainage areas of 25.9 to 12,900 ha"),
        ("lowest = 0.1", "fitted on drainage areas of at least 25.9 ha"),
        ("highest = 50", "fitted on drainage areas of at most 12,900 ha"),
        ("", "the areas that it was fitted on are not told"),
    ],
)
def test_areas_that_a_users_own_equations_were_fitted_on(tmp_path: Path, old: str, words) -> None:
    path = tmp_path / "own.toml"
    ends = f", {old}" if old else ""
    path.write_text(USER.replace(", lowest = 0.1, highest = 50", ends), "utf-8")
    assert fitted_on(read_equations(path).region("home")) == words
