"""Look-ups in captured replies of the NOAA Precipitation Frequency Data Server (Atlas 14)."""

import pytest

from siting.floods.flood_errors import RainfallError
from siting.floods.rainfall_reading import parse_rainfall
from tests.published.printed import cells


@pytest.mark.parametrize(
    ("hours", "years", "inches"),
    [
        pytest.param(24, 100, 12.1, id="PF-1"),
        pytest.param(24, 2, 4.76, id="PF-2, 24 hours"),
        pytest.param(1, 10, 3.13, id="PF-2, 60 minutes"),
        pytest.param(48, 1000, 20.7, id="2 days"),
    ],
)
def test_fort_myers(fort_myers: str, hours: float, years: float, inches: float) -> None:
    """NOAA Atlas 14, Fort Myers (volume 9 version 2), captured reply."""
    found = parse_rainfall(fort_myers).depth_mm(hours, years)
    cells(found / 25.4, inches, of="NOAA Atlas 14, Fort Myers", within=1e-6)


@pytest.mark.parametrize(
    ("hours", "years", "inches"),
    [(24, 2, 3.95), (24, 10, 5.89), (24, 100, 9.27), (6, 100, 6.68)],
)
def test_irving_pf_3(irving: str, hours: float, years: float, inches: float) -> None:
    """NOAA Atlas 14, Irving (volume 11 version 2), captured reply."""
    cells(
        parse_rainfall(irving).depth_mm(hours, years) / 25.4,
        inches,
        of="NOAA Atlas 14, Irving",
        within=1e-6,
    )


@pytest.mark.parametrize(
    ("hours", "years", "estimate", "upper", "lower"),
    [
        (24, 2, 2.35, 2.63, 2.12),
        (24, 10, 3.26, 3.66, 2.91),
        (24, 100, 5.11, 6.16, 4.22),
        (0.25, 10, 0.988, 1.15, 0.859),
        (1, 10, 1.70, 1.97, 1.48),
        (1, 100, 2.69, 3.33, 2.15),
        (6, 50, 3.75, 4.50, 3.16),
    ],
)
def test_ann_arbor_pf_5(
    ann_arbor: str, hours: float, years: float, estimate: float, upper: float, lower: float
) -> None:
    """NOAA Atlas 14, Ann Arbor (volume 8 version 2), captured reply with 90 % bounds."""
    rain = parse_rainfall(ann_arbor)
    assert rain.bounds is not None
    assert rain.bounds.name == "90 % confidence bounds"
    tables = (rain, rain.at_bound("high"), rain.at_bound("low"))
    cells(
        [table.depth_mm(hours, years) / 25.4 for table in tables],
        [estimate, upper, lower],
        of="NOAA Atlas 14, Ann Arbor",
        within=1e-6,
    )


def test_wilmington_pf_4(fort_myers: str) -> None:
    """NOAA Atlas 14, Wilmington, North Carolina, 24 hours and 50 years: 10.8 in.

    Only this cell of the table was available, so the file holds this cell alone.
    """
    head = fort_myers.split("by duration")[0]
    rain = parse_rainfall(f"{head}by duration for ARI (years):, 50\n24-hr:, 10.8\n")
    cells(rain.depth_mm(24, 50) / 25.4, 10.8, of="NOAA Atlas 14, Wilmington", within=1e-6)


def test_captured_intensity_reply_is_refused(colorado_intensity: str) -> None:
    """NOAA Atlas 14 volume 8 version 2, captured reply of the other kind."""
    with pytest.raises(RainfallError, match="holds rainfall intensities, not depths"):
        parse_rainfall(colorado_intensity, name="colorado.csv")
