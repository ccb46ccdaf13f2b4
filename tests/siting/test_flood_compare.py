"""Methods side by side: plug-ins, ranges, and which one is used."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from siting.floods.flood_errors import FloodInputError, RegionalEquationError
from siting.floods.flood_method import Flag, SiteFloodInputs, build_estimate
from siting.floods.flow_range import BEYOND
from siting.floods.regional_equations import parse_equations
from siting.places.flood_compare import compare, flood_methods, joined, parse_methods
from siting.places.flood_options import parse_basin, parse_regions
from terrain.values.plugins import PluginError

NO = np.nan


@dataclass
class Fixed:
    """A method that gives what it is told."""

    name: str
    flow: float
    outside: bool = False
    limits = needs = title = ""
    fails: bool = False
    least_years: float = 0.0

    @property
    def source(self) -> str:
        return f"report on {self.name}"

    def peak_flow(self, inputs, years):
        if self.fails:
            raise ZeroDivisionError("a fault of its own")
        where = np.full(inputs.count, self.outside)
        return build_estimate(
            self,
            inputs,
            years,
            value_m3s=self.flow * inputs.drainage_area_ha if years >= self.least_years else NO,
            flags=[Flag("small", "Too small.", where)],
        )


def run(*methods, area=(1.0, 2.0), asked=(), **more):
    inputs = SiteFloodInputs(np.array(area), **more)
    by_name = {m.name: m for m in methods}
    return compare(inputs, asked=asked, methods=by_name, curve_number_error=5.0)


def test_built_in_methods_register_as_plug_ins() -> None:
    assert set(flood_methods().names) >= {"graphical", "unit_hydrograph", "rational", "regional"}
    assert parse_methods("regional, graphical") == ("regional", "graphical")
    with pytest.raises(PluginError, match=r"no flood method named 'grafical'.*graphical"):
        parse_methods("grafical")
    for wrong in ("", "graphical,graphical"):
        with pytest.raises(FloodInputError, match="flood methods given as"):
            parse_methods(wrong)


def test_the_first_inside_its_limits_is_used_for_all_return_periods() -> None:
    found = run(Fixed("graphical", 3.0, outside=True), Fixed("regional", 5.0), Fixed("other", 4.0))
    assert found.name[0].tolist() == ["graphical", "regional", "other"]
    assert found.used.tolist() == [1, 1]
    np.testing.assert_array_equal(found.of_used(found.q_m3s), [[5.0] * 6, [10.0] * 6])
    assert found.of_used(found.limits_met).all()


def test_where_none_is_inside_its_limits_the_first_with_a_flow_is_used_and_says_so() -> None:
    found = run(Fixed("graphical", NO), Fixed("regional", 5.0, outside=True))
    assert found.used.tolist() == [1, 1]
    assert not found.of_used(found.limits_met).any()
    assert found.used_note.tolist() == ["Too small."] * 2


def test_where_the_ten_year_flow_is_missing_another_return_period_decides() -> None:
    found = run(Fixed("graphical", 3.0, least_years=50), Fixed("regional", NO))
    assert found.used.tolist() == [0, 0]
    assert np.isnan(found.of_used(found.q_m3s)[:, :4]).all()
    assert np.isfinite(found.of_used(found.q_m3s)[:, 4:]).all()


def test_where_no_method_gives_a_flow_none_is_used() -> None:
    found = run(Fixed("graphical", NO))
    assert found.used.tolist() == [-1, -1]
    assert np.isnan(found.of_used(found.q_m3s)).all()
    assert found.of_used(found.note).tolist() == [[None] * 6] * 2


def test_the_range_is_the_spread_over_methods_inside_their_limits() -> None:
    found = run(
        Fixed("graphical", 3.0),
        Fixed("regional", 5.0),
        Fixed("other", 9.0, outside=True),
        area=(1,),
    )
    np.testing.assert_array_equal(found.low_m3s[0, :, 2], [3.0, 3.0, 3.0])
    # a method outside its limits widens no range but its own
    np.testing.assert_array_equal(found.high_m3s[0, :, 2], [5.0, 5.0, 9.0])
    assert "Range: spread of independent methods." in found.note[0, 0, 2]
    spread = "spread of independent methods"
    assert found.range_from[0, :, 2].tolist() == [spread, spread, f"{spread}{BEYOND}"]
    alone = run(Fixed("graphical", 3.0), area=(1,))
    assert alone.note[0, 0, 2] is None
    assert alone.range_from[0, 0, 2] is None


def test_a_cut_off_area_makes_every_flow_a_minimum() -> None:
    found = run(Fixed("graphical", 3.0), Fixed("regional", 5.0), area_complete=[False, True])
    assert np.isnan(found.high_m3s[0]).all()
    assert np.isfinite(found.high_m3s[1]).all()
    assert all("The flow is a minimum." in note for note in found.note[0].reshape(-1))
    assert "flows are minima" in found.used_note[0]
    assert found.used_note[1] is None


def test_a_plug_in_that_fails_is_named_and_stops_nothing() -> None:
    found = run(Fixed("broken", 1.0, fails=True), Fixed("graphical", 3.0))
    assert found.used.tolist() == [0, 0]
    note = found.note[0, 1, 0]
    assert "flood method 'broken' failed: ZeroDivisionError: a fault of its own" in note
    with pytest.raises(PluginError, match="flood method 'broken' failed"):
        run(Fixed("broken", 1.0, fails=True), Fixed("graphical", 3.0), asked=("broken",))


def test_sources_name_the_report_of_the_region() -> None:
    found = compare(
        SiteFloodInputs(np.array([4e4, 5e4]), regions={"NM-7": [1.0, 0.5], "NM-8": [0.0, 0.5]}),
        curve_number_error=5.0,
    )
    m = found.name[0].tolist().index("regional")
    assert found.source[0, m].count("Waltemeyer, 2008") == 1
    assert found.source[1, m].count("Waltemeyer, 2008") == 2
    assert found.source[1, 0].startswith("USDA")
    assert not any("Waltemeyer" in (note or "") for note in found.note[:, m].reshape(-1))


def test_texts_are_joined_for_each_site() -> None:
    out = joined([("a", np.array([True, False, True])), ("b", np.array([True, False, False]))], 3,
                 between="; ")  # fmt: skip
    assert out.tolist() == ["a; b", None, "a"]
    assert joined([], 2, between=" ").tolist() == [None, None]


def test_regions_with_shares() -> None:
    assert parse_regions("WY-2") == {"WY-2": 1.0}
    assert parse_regions("NM-7=0.6, NM-8=0.4") == {"NM-7": 0.6, "NM-8": 0.4}
    own = parse_equations(
        {
            "region": [
                {
                    "id": "mine", "title": "Mine", "report": "r", "table": "t",
                    "terms": [{"variable": "drainage_area_mi2"}],
                    "equations": [{"years": 10, "coefficient": 5.0, "exponents": [0.5]}],
                }
            ]
        },
        name="own.toml",
    )  # fmt: skip
    assert parse_regions("mine", own) == {"mine": 1.0}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("WY2", r"region 'WY2' is not in the built-in equations \(did you mean WY-2\?\)"),
        ("NM-7=0.6,NM-8=0.3", "add up to 0.9"),
        ("NM-7,NM-8", "add up to 2"),
        ("NM-7=half", "region given as 'NM-7=half'"),
        ("NM-7=0.5,NM-7=0.5", "NM-7 given twice"),
        ("NM-7=1.5,NM-8=-0.5", "add up to 1"),
        ("", "add up to 0"),
    ],
)
def test_regions_that_cannot_be_are_refused(text, message) -> None:
    with pytest.raises((FloodInputError, RegionalEquationError), match=message):
        parse_regions(text)


def test_basin_measures() -> None:
    found = parse_basin(
        "mean_annual_precipitation_mm=16in, soils_index=2.9,mean_elevation_m=7000ft"
    )
    assert found == pytest.approx(
        {
            "mean_annual_precipitation_mm": 406.4,
            "soils_index": 2.9,
            "mean_elevation_m": 2133.6,
        }
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("soil_index=2", "basin measure 'soil_index'"),
        ("soils_index=high", "expected a number"),
        ("soils_index=2in", "expected a number"),
        ("", "no basin measure"),
    ],
)
def test_basin_measures_that_cannot_be_are_refused(text, message) -> None:
    with pytest.raises((FloodInputError, RegionalEquationError), match=message):
        parse_basin(text)
