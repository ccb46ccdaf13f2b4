from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from cli.plan.fields import convert_columns
from cli.plan.tidy_numbers import tidy
from terrain.values.reader_units import FOOT_M, figures, quantity


def test_a_number_keeps_its_decimals_unless_the_last_would_turn_what_is_shown() -> None:
    given_ = np.array([2.6478, 2.6433, 2.65, 123.4, 0.0096, 0.00096, 0.0, np.nan, -2.6478])
    expected = [2.648, 2.64, 2.65, 123.4, 0.0096, 0.0, 0.0, np.nan, -2.648]
    np.testing.assert_array_equal(tidy(given_, 2), expected)


@given(st.lists(st.floats(1e-3, 1e5), min_size=1, max_size=20), st.integers(0, 3))
@example(values=[1.95, 0.955, 0.945, 2.5, 0.125, 1.05], decimals=0)
@example(values=[1.95, 0.955, 0.945, 2.5, 0.125, 1.05], decimals=2)
def test_a_written_number_reads_as_the_exact_one(values: list[float], decimals: int) -> None:
    written = tidy(np.array(values), decimals)
    for exact, number in zip(values, written, strict=True):
        assert abs(number - exact) <= 0.5000001 * 10.0**-decimals
        if exact >= 0.5 * 10.0**-decimals:
            assert figures(float(number)) == figures(exact)
    np.testing.assert_array_equal(tidy(written, decimals), written)


@given(st.lists(st.floats(1e-3, 1e3), min_size=1, max_size=20))
@example(values=[0.35 * FOOT_M / 12, 0.25 * FOOT_M / 12, 1.25 * FOOT_M / 12, 12.5 * FOOT_M / 12])
def test_a_length_in_feet_reads_as_the_exact_one_in_inches_too(values: list[float]) -> None:
    exact = np.array(values)
    written = tidy(exact / FOOT_M, 2, feet=True)
    np.testing.assert_array_equal(tidy(written, 2, feet=True), written)
    for a, b in zip(exact, written, strict=True):
        if a / FOOT_M >= 0.005:
            read = float(b) * FOOT_M
            assert quantity(read, "m", units="us") == quantity(float(a), "m", units="us")


@pytest.mark.parametrize("units", ["si", "us"])
def test_fields_of_a_plan_are_written_so(units: str) -> None:
    rng = np.random.default_rng(3)
    width = 10.0 ** rng.uniform(-1, 2, 500)
    area = 10.0 ** rng.uniform(-1, 3, 500)
    sites = {"width_m": width, "drainage_area_ha": area}
    out = convert_columns("sites", sites, units)  # type: ignore[arg-type]
    names = ("width_m", "drainage_area_ha") if units == "si" else ("width_ft", "drainage_area_ac")
    for exact, name, unit in zip((width, area), names, ("m", "ha"), strict=True):
        factor = 1.0 if units == "si" else {"m": FOOT_M, "ha": 0.40468564224}[unit]
        for a, b in zip(exact, out[name], strict=True):
            said = quantity(float(a), unit, units=units)  # type: ignore[arg-type]
            assert quantity(float(b) * factor, unit, units=units) == said  # type: ignore[arg-type]
