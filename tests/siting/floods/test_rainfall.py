"""Rainfall tables: what is read, what is refused, and how depths are interpolated."""

import math
from pathlib import Path

import numpy as np
import pytest

from siting.floods.flood_errors import RainfallError, RainfallRangeError
from siting.floods.rainfall import RainBounds, Rainfall, duration_text
from siting.floods.rainfall_reading import parse_rain_24h, parse_rainfall, read_rainfall

POINT = """Point precipitation frequency estimates (inches)
NOAA Atlas 14 Volume 12 Version 2
Data type: Precipitation depth
Time series type: Partial duration
Project area: Interior Northwest
Location name (ESRI Maps): None
Station Name: None
Latitude: 46.0583 Degree
Longitude: -114.2306 Degree
Elevation (USGS): None None


PRECIPITATION FREQUENCY ESTIMATES
by duration for ARI (years):, 1,2,5,10,25,50,100,200,500,1000
5-min:, 0.115,0.166,0.243,0.303,0.379,0.432,0.480,0.524,0.575,0.608
24-hr:, 1.20,1.37,1.64,1.85,2.13,2.34,2.55,2.75,3.00,3.18
3-day:, 1.60,1.81,2.16,2.44,2.82,3.11,3.39,3.67,4.04,4.30

Date/time (GMT):  Thu Aug 20 03:27:42 2026
"""
ANNUAL = (
    POINT.replace("Partial duration", "Annual maximum")
    .replace(
        "by duration for ARI (years):, 1,2,5,10,25,50,100,200,500,1000",
        "by duration for AEP:, '1/2,'1/5,'1/10,'1/25,'1/50,'1/100,'1/200,'1/500,'1/1000",
    )
    .replace("0.115,0.166,0.243,0.303", "0.141,0.234,0.299")
    .replace("1.20,1.37,1.64,1.85", "1.29,1.60,1.83")
    .replace("1.60,1.81,2.16,2.44", "1.71,2.10,2.41")
)
SMALL = (
    "units: mm\nduration,2,10,100\n30-min,12,20,34\n1 h,15,25,42\n24-hr,38,62,98\n2-day,45,75,120\n"
)


def test_point_file_in_inches() -> None:
    rain = parse_rainfall(POINT, name="rain.csv")
    assert rain.series == "partial"
    assert rain.source == "NOAA Atlas 14 Volume 12 Version 2 (rain.csv)"
    assert rain.durations_h.tolist() == pytest.approx([5 / 60, 24.0, 72.0])
    assert rain.depth_mm(24, 2) == pytest.approx(1.37 * 25.4)
    assert rain.notes == ()


def test_point_file_in_millimetres_says_the_same() -> None:
    metric = POINT.replace("(inches)", "(millimeters)")
    assert parse_rainfall(metric).depth_mm(24, 100) == pytest.approx(2.55)


def test_annual_series_header_is_read_as_years_not_as_digits() -> None:
    rain = parse_rainfall(ANNUAL)
    assert rain.series == "annual"
    assert rain.return_periods_yr.tolist() == [2, 5, 10, 25, 50, 100, 200, 500, 1000]
    assert rain.depth_mm(24, 2) == pytest.approx(1.29 * 25.4)
    assert "Annual maximum" in rain.notes[0]


def test_one_end_of_the_bounds_alone_is_left_aside_wherever_it_stands() -> None:
    body = POINT.split("PRECIPITATION FREQUENCY ESTIMATES\n")[1].split("\nDate")[0]
    upper = body.replace("1.37", "1.77").replace("2.55", "3.30")
    head = POINT.split("PRECIPITATION")[0]
    upper_head = "PRECIPITATION FREQUENCY ESTIMATES AT UPPER BOUND OF 90% CONFIDENCE INTERVAL\n"
    after = f"{head}PRECIPITATION FREQUENCY ESTIMATES\n{body}\n\n{upper_head}{upper}"
    before = f"{head}{upper_head}{upper}\n\nPRECIPITATION FREQUENCY ESTIMATES\n{body}"
    for text in (after, before):
        rain = parse_rainfall(text)
        assert rain.depth_mm(24, 2) == pytest.approx(1.37 * 25.4)
        assert rain.bounds is None
        assert "only one end" in rain.notes[0]
    with pytest.raises(RainfallError, match="only a confidence bound"):
        parse_rainfall(f"{head}{upper_head}{upper}")


def with_bounds(text: str, *, low: float = 0.8, high: float = 1.25) -> str:
    """The point file with both bounds below its estimates."""
    head, _, rest = text.partition("PRECIPITATION FREQUENCY ESTIMATES\n")
    body = rest.split("\nDate")[0].strip("\n").split("\n")

    def scaled(by: float) -> str:
        rows = []
        for line in body[1:]:
            name, _, cells = line.partition(":, ")
            depths = [f"{float(c) * by:.4g}" for c in cells.split(",")]
            rows.append(f"{name}:, {','.join(depths)}")
        return "\n".join([body[0], *rows])

    parts = [f"{head}PRECIPITATION FREQUENCY ESTIMATES", *body, ""]
    for name, by in (("UPPER", high), ("LOWER", low)):
        parts += [f"{name} BOUND OF THE 90% CONFIDENCE INTERVAL", scaled(by), ""]
    return "\n".join(parts)


def test_both_bounds_of_a_point_file_are_read() -> None:
    plain, rain = parse_rainfall(POINT), parse_rainfall(with_bounds(POINT))
    assert rain.bounds is not None
    assert rain.bounds.name == "90 % confidence bounds"
    assert plain.bounds is None
    assert plain.at_bound("high") is None
    np.testing.assert_allclose(rain.depths_mm, plain.depths_mm)
    np.testing.assert_allclose(rain.bounds.low_mm, 0.8 * plain.depths_mm, rtol=1e-3)
    np.testing.assert_allclose(rain.at_bound("high").depths_mm, 1.25 * plain.depths_mm, rtol=1e-3)
    assert rain.notes == plain.notes


@pytest.mark.parametrize(
    "text",
    [
        "units: mm, 90 % bounds\nduration,2,2 lower,2 upper,10,10-yr low,10 yr upper bound\n"
        "1 h,15,12,19,25,20,32\n24-hr,38,30,47,62,50,75\n",
        "units: mm\nduration,2,10\n1 h,15,25\n24-hr,38,62\nLower bound (90 % confidence)\n"
        "duration,2,10\n1 h,12,20\n24-hr,30,50\nUpper bound\n1 h,19,32\n24-hr,47,75\n",
    ],
)
def test_small_table_with_bounds(text: str) -> None:
    rain = parse_rainfall(text)
    np.testing.assert_array_equal(rain.depths_mm, [[15, 25], [38, 62]])
    assert rain.bounds is not None
    np.testing.assert_array_equal(rain.bounds.low_mm, [[12, 20], [30, 50]])
    np.testing.assert_array_equal(rain.bounds.high_mm, [[19, 32], [47, 75]])
    assert rain.bounds.name == "90 % confidence bounds"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("duration,10,10 lower\n24-hr,62,50", "has 0 upper bounds for 1 depths"),
        ("duration,2,10,10 lower,10 upper\n24-hr,38,62,50,75", "has 1 lower bounds for 2 depths"),
        ("duration,10,10 lower,10 upper\n24-hr,62,75,50", "between bounds of 75 and 50 mm"),
        ("duration,10,10 lower,10 upper\n24-hr,62,0,75", "between bounds of 0 and 75 mm"),
        (
            "duration,10\n1 h,25\n24-hr,62\nlower bound\n24-hr,50\nupper bound\n24-hr,75",
            "has 1 lower bounds for 2 depths",
        ),
    ],
)
def test_bounds_that_cannot_be_used_are_refused(text: str, message: str) -> None:
    with pytest.raises(RainfallError, match=message):
        parse_rainfall(f"units: mm\n{text}\n")


def test_bounds_of_other_rows_than_the_estimates_are_refused() -> None:
    text = with_bounds(POINT)
    cut = text.rindex("24-hr:")
    with pytest.raises(RainfallError, match="the lower bounds are for other durations"):
        parse_rainfall(text[:cut] + text[text.index("\n", cut) + 1 :])


def test_a_bound_that_falls_by_rounding_is_held_further_out() -> None:
    bounds = RainBounds([[20, 19.9], [29, 40]], [[30, 40], [29.9, 50]])
    rain = Rainfall([1, 24], [2, 10], [[25, 30], [29.9, 45]], source="invented", bounds=bounds)
    np.testing.assert_array_equal(rain.at_bound("low").depths_mm, [[19.9, 19.9], [29, 40]])
    np.testing.assert_array_equal(rain.at_bound("high").depths_mm, [[30, 40], [30, 50]])


@pytest.mark.parametrize(
    "change",
    [
        lambda t: "\ufeff" + t,
        lambda t: t.replace("\n", "\r\n"),
        lambda t: t.replace(", ", ",   ").replace(",0", " , 0"),
        lambda t: t.replace("24-hr:", '"24-hr:"'),
        lambda t: t.replace("24-hr:", " 24-HR: "),
        lambda t: t.replace("by duration for ARI (years):,", "By Duration for ARI (years):,"),
        lambda t: t.replace("Elevation (USGS): None None", "Elevation (USGS): 497 ft"),
        lambda t: t.replace("24-hr:, 1.20", "1-day:, 1.20"),
        lambda t: t.replace("3.18\n", "3.18,\n"),
    ],
)
def test_point_file_variants(change, tmp_path: Path) -> None:
    path = tmp_path / "rain.csv"
    path.write_bytes(change(POINT).encode("utf-8"))
    assert read_rainfall(path).depth_mm(24, 10) == pytest.approx(1.85 * 25.4)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("(inches)", "(inches/hour)", "intensities, not depths"),
        ("Precipitation depth", "Precipitation intensity", "intensities, not depths"),
        ("(inches)", "", "does not say its unit"),
        ("1.20,1.37", "1.20,-1.37", "a rainfall depth of -34.798 mm for 24 hours once in 2 years"),
        ("1.20,1.37", "1.20,0.0", "a rainfall depth of 0 mm"),
        ("1.20,1.37", "1.20,NA", "'NA' in row '24-hr' is no number"),
        ("3.00,3.18", "3.00", "row '24-hr' has 9 values"),
        ("1.60,1.81", "1.10,1.81", "rain falls as the storm gets longer"),
        ("1.20,1.37", "1.40,1.37", "rain falls as storms get rarer"),
        ("24-hr:", "12-hr:", None),
        ("1,2,5,10,25,50,100,200,500,1000", "1,2,5,ten,25,50,100,200,500,1000", "column 'ten'"),
        ("by duration for ARI (years):", "by duration for AEP:", "column '1'"),
        ("by duration for ARI", "by length for ARI", "holds no line 'by duration for ARI"),
        (",1.37,1.64", ",1.37,1.64,1.64", "row '24-hr' has 11 values"),
        (", 1,2,5,10,25,50,100,200,500,1000", "", "names no return periods"),
        ("(inches)", "(inches) (mm)", "names two units"),
        (
            "by duration for ARI (years):, 1,2,5",
            "by duration for AEP:, '1/2,'1/5,'1/6",
            "column '10'",
        ),
    ],
)
def test_point_file_refused(old: str, new: str, message: str | None) -> None:
    text = POINT.replace(old, new, 1)
    if message is None:  # 24 hours lies between 12 hours and 3 days and is interpolated
        assert parse_rainfall(text).covers(duration_h=24, return_period_yr=10)
        return
    with pytest.raises(RainfallError, match=message.replace("(", r"\(")):
        parse_rainfall(text)


def test_series_that_contradict_each_other_are_refused() -> None:
    with pytest.raises(RainfallError, match="says partial duration but its columns are annual"):
        parse_rainfall(ANNUAL.replace("Annual maximum", "Partial duration"))


def test_heading_without_rows_is_refused() -> None:
    with pytest.raises(RainfallError, match="has a heading but no rows"):
        parse_rainfall(POINT.split("5-min")[0])


def test_table_without_its_head_is_refused() -> None:
    with pytest.raises(RainfallError, match="does not say its unit"):
        parse_rainfall("by duration" + POINT.split("by duration")[1])


def test_missing_24_hours_is_refused() -> None:
    text = "\n".join(line for line in POINT.split("\n") if not line.startswith(("24-hr", "3-day")))
    with pytest.raises(RainfallError, match=r"has no 24-hour rain: it covers 5 minutes to 5 min"):
        parse_rainfall(text)


def test_reply_outside_the_coverage_is_refused() -> None:
    text = "\nresult = 'none';\nErrorMsg =  'Error 3.0: not within a project area';\n"
    with pytest.raises(RainfallError, match="outside its coverage"):
        parse_rainfall(text)


def test_small_table() -> None:
    rain = parse_rainfall(SMALL)
    assert rain.depth_mm(24, 10) == pytest.approx(62)
    assert rain.depth_mm(1, 100) == pytest.approx(42)
    assert rain.series == "unstated"


@pytest.mark.parametrize(
    "text",
    [
        "duration (h),2,10\n1,0.6in,1.0in\n24,1.5in,2.4in\n",
        "# units: in\nduration_h;2 yr;10-year\n1;0.6;1.0\n24;1.5;2.4\n",
        "duration, depths in inches\nduration,2,10\n60 min,0.6,1.0\n1 day,1.5,2.4\n",
        "duration\t2\t10\tignored\n".replace("\tignored", "")
        + "1 h\t15.24 mm\t25.4 mm\n24 h\t38.1mm\t60.96mm\n",
    ],
)
def test_small_table_ways_to_state_units(text: str) -> None:
    rain = parse_rainfall(text)
    assert rain.depth_mm(24, 2) == pytest.approx(38.1)
    assert rain.depth_mm(1, 10) == pytest.approx(25.4)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (SMALL.replace("units: mm\n", ""), "does not say the unit"),
        (SMALL.replace("units: mm", "depth in 24 hours"), "does not say the unit"),
        (SMALL.replace("38,62", "1.5in,62"), "mixes in and mm"),
        (SMALL.replace("24-hr,38,62,98", "24-hr,38,62"), "row '24-hr' has 2 depths"),
        (SMALL.replace("24-hr,38", "24-hr,lots"), "'lots' in row '24-hr'"),
        (SMALL.replace("24-hr,38", "24-hr,-38"), "a rainfall depth of -38 mm"),
        (SMALL.replace("24-hr", "24"), "row starts with '24'"),
        (SMALL.replace("1 h,", "30 min,"), "comes twice"),
        (SMALL.replace("38,62,98", "14,62,98"), "rain falls as the storm gets longer"),
        ("name,herd\nwest pasture,40\n", "is not a rainfall table"),
        ("", "is not a rainfall table"),
    ],
)
def test_small_table_refused(text: str, message: str) -> None:
    with pytest.raises(RainfallError, match=message):
        parse_rainfall(text)


def test_unreadable_files(tmp_path: Path) -> None:
    with pytest.raises(RainfallError, match=r"none\.csv cannot be read"):
        read_rainfall(tmp_path / "none.csv")
    (tmp_path / "rain.csv").write_bytes(b"\x89PNG\r\n\xff\xfe")
    with pytest.raises(RainfallError, match="not a text file"):
        read_rainfall(tmp_path / "rain.csv")


def test_rain_24h_text() -> None:
    rain = parse_rain_24h("10=62mm, 2 = 38 mm")
    assert rain.return_periods_yr.tolist() == [2, 10]
    assert rain.depth_mm(24, 2) == pytest.approx(38)
    assert parse_rain_24h("2=1.5in").depth_mm(24, 2) == pytest.approx(38.1)
    # Between the periods given: linear over the logarithm of the return period.
    share = math.log(5 / 2) / math.log(10 / 2)
    assert rain.depth_mm(24, 5) == pytest.approx(38 + share * 24)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("2=38", "has no unit"),
        ("2=38furlongs", "in a unit that is not known"),
        ("38mm", "given as '38mm'"),
        ("two=38mm", "given as 'two=38mm'"),
        ("2=38mm,10=2.4in", "mixes in and mm"),
        ("2=38mm,2=40mm", "twice"),
        ("2=-38mm", "a rainfall depth of -38 mm"),
        ("2=0mm", "a rainfall depth of 0 mm"),
        ("2=60mm,10=38mm", "rain falls as storms get rarer"),
        ("", "given as ''"),
    ],
)
def test_rain_24h_refused(text: str, message: str) -> None:
    with pytest.raises(RainfallError, match=message):
        parse_rain_24h(text)


def test_interpolation_is_log_log_in_duration() -> None:
    rain = parse_rainfall(SMALL)
    share = math.log(4) / math.log(24)
    expected = math.exp((1 - share) * math.log(25) + share * math.log(62))
    assert rain.depth_mm(4, 10) == pytest.approx(expected)
    np.testing.assert_allclose(
        rain.depths_mm_for([0.1, 0.5, 4.0, 24.0, 49.0], return_period_yr=10),
        [np.nan, 20, expected, 62, np.nan],
    )


@pytest.mark.parametrize(("hours", "years"), [(0.4, 10), (49, 10), (24, 1), (24, 101)])
def test_nothing_is_extrapolated(hours: float, years: float) -> None:
    rain = parse_rainfall(SMALL)
    assert not rain.covers(duration_h=hours, return_period_yr=years)
    with pytest.raises(RainfallRangeError, match="which is what the table covers"):
        rain.depth_mm(hours, years)


def test_table_is_frozen_and_checked() -> None:
    rain = parse_rainfall(SMALL)
    with pytest.raises(ValueError, match="read-only"):
        rain.depths_mm[0, 0] = 1.0
    with pytest.raises(RainfallError, match="for 1 durations and 2 return periods"):
        Rainfall(np.array([24.0]), np.array([2.0, 10.0]), np.array([[38.0]]), source="x")
    with pytest.raises(RainfallError, match="out of order or twice"):
        Rainfall(np.array([24.0]), np.array([2.0, 2.0]), np.array([[38.0, 38.0]]), source="x")
    with pytest.raises(RainfallError, match="without any duration"):
        Rainfall(np.array([]), np.array([2.0]), np.empty((0, 1)), source="x")
    with pytest.raises(RainfallError, match="a duration of -1 hours"):
        Rainfall(np.array([-1.0]), np.array([2.0]), np.array([[38.0]]), source="x")


@pytest.mark.parametrize(
    ("hours", "text"), [(0.5, "30 minutes"), (1, "1 hour"), (24, "24 hours"), (48, "2 days")]
)
def test_duration_text(hours: float, text: str) -> None:
    assert duration_text(hours) == text
