"""Length units of elevation rasters: metres and the two feet, and whether heights are believable.

The international foot is 0.3048 m exactly. The US survey foot is 1200/3937 m (Federal Register
24 FR 5348, 1959; retired by NIST for new work at the end of 2022, but most state plane rasters
still use it).
"""

from __future__ import annotations

from dataclasses import dataclass

from terrain.values.errors import ParameterError, VerticalUnitError
from terrain.values.highest_ground import highest_ground_m
from terrain.values.reading_remedies import ReadingRemedy

#: Metres in one unit, by the names that ``--vertical-unit`` takes.
METRES_PER: dict[str, float] = {"m": 1.0, "ft": 0.3048, "us-ft": 1200.0 / 3937.0}

#: The same units in words.
UNIT_WORDS: dict[str, str] = {"m": "metres", "ft": "international feet", "us-ft": "US survey feet"}

#: Half the ground steeper than this (50 degrees) is not land; common sense, no published source.
IMPOSSIBLE_MEDIAN_SLOPE = 1.2

#: Room above the highest known ground before heights count as impossible, for trees and datums.
HIGHEST_ALLOWANCE_M = 60.0

_NAMES: dict[str, str] = {
    "m": "m",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "ft": "ft",
    "foot": "ft",
    "feet": "ft",
    "ft_int": "ft",
    "international foot": "ft",
    "international feet": "ft",
    "us-ft": "us-ft",
    "ftus": "us-ft",
    "us_ft": "us-ft",
    "us ft": "us-ft",
    "usft": "us-ft",
    "sft": "us-ft",
    "us survey foot": "us-ft",
    "us survey feet": "us-ft",
    "us_survey_foot": "us-ft",
    "foot_us": "us-ft",
    "survey foot": "us-ft",
}


def unit_from_name(text: str | None) -> str | None:
    """Return ``m``, ``ft`` or ``us-ft`` for a unit's name, or None when it is not one of them."""
    return _NAMES.get((text or "").strip().lower())


def unit_from_factor(metres: float) -> str | None:
    """Return the unit with that many metres, or None when it is not one of the three."""
    for name, factor in METRES_PER.items():
        # The two feet differ by 2 parts in a million.
        if abs(metres / factor - 1.0) < 2e-7:
            return name
    return None


def check_unit(name: str) -> str:
    """Return the unit's name, or raise.

    Raises
    ------
    ParameterError
        The name is not one of ``m``, ``ft`` and ``us-ft``.
    """
    if name not in METRES_PER:
        raise ParameterError(f"vertical unit '{name}'", expected=f"one of {', '.join(METRES_PER)}")
    return name


@dataclass(frozen=True, slots=True)
class HeightFacts:
    """What is known about the numbers in a raster and where they lie.

    Parameters
    ----------
    high
        Highest plausible-looking number (not yet a height in metres).
    median_slope
        Median of rise over run, numbers over metres; None where it could not be measured.
    place
        Longitude and latitude, degrees, or None when the place is unknown.
    """

    high: float
    median_slope: float | None
    place: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class StatedUnits:
    """Every place where a vertical unit may be stated; None where it is not."""

    option: str | None = None
    crs: str | None = None
    band: str | None = None
    horizontal_feet: bool = False


def settle_vertical_unit(
    stated: StatedUnits, heights: HeightFacts, *, name: str
) -> tuple[str, tuple[str, ...]]:
    """Choose the vertical unit, and say why; stop rather than guess.

    Parameters
    ----------
    stated
        What option, CRS and band say.
    heights
        What the numbers look like.
    name
        The file, for messages.

    Returns
    -------
    unit, notes
        ``m``, ``ft`` or ``us-ft``, and plain sentences about the choice.

    Raises
    ------
    VerticalUnitError
        The file contradicts itself, or the numbers cannot be in the unit that would be taken.
    """
    in_file = stated.crs or stated.band
    if stated.option is not None:
        option = check_unit(stated.option)
        words = UNIT_WORDS[option]
        if in_file is not None and in_file != option:
            return option, (
                f"The file says its heights are in {UNIT_WORDS.get(in_file, in_file)}; "
                f"taken as {words}, as asked.",
            )
        return option, (f"Heights taken as {words}, as asked.",) if in_file is None else ()
    ask = ReadingRemedy.GIVE_VERTICAL_UNIT
    if stated.crs is not None and stated.band is not None and stated.crs != stated.band:
        raise VerticalUnitError(
            f"{name}: its coordinate system says heights in {UNIT_WORDS[stated.crs]}, "
            f"its band says {UNIT_WORDS[stated.band]}",
            expected="one unit",
            do=ask,
        )
    unit = in_file or "m"
    if unit == "m":
        doubt = _doubt_about_metres(heights)
        if doubt is None and in_file is None and stated.horizontal_feet:
            doubt = "its map is in feet and nothing says what its heights are in"
        if doubt is not None:
            raise VerticalUnitError(
                f"{name}: {doubt}",
                expected="heights in metres, or a stated unit",
                do=f"if they are feet, {ask}" if in_file is None else ask,
            )
    if in_file is None:
        return unit, ("The file does not say the unit of its heights; taken as metres.",)
    if unit != "m":
        return unit, (f"Heights turned from {UNIT_WORDS[unit]} into metres.",)
    return unit, ()


def _doubt_about_metres(heights: HeightFacts) -> str | None:
    """Return why the numbers cannot be metres, or None."""
    limit = highest_ground_m(heights.place)
    if heights.high > limit + HIGHEST_ALLOWANCE_M:
        return (
            f"heights reach {heights.high:,.0f} where no ground is above "
            f"about {limit:,.0f} m, so they look like feet"
        )
    if heights.median_slope is not None and heights.median_slope > IMPOSSIBLE_MEDIAN_SLOPE:
        return (
            f"half of the ground would be steeper than {heights.median_slope * 100:.0f} %, "
            "so its heights look like feet"
        )
    return None
