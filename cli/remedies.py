"""The library's remedies in the command's words: which option to give."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Final

from siting.values.siting_remedies import SitingRemedy
from terrain.values.errors import GullywalkError
from terrain.values.reading_remedies import GIVEN_CRS, ReadingRemedy

_FLOOD_OPTIONS: Final = "(--rain or --rain-24h, and --curve-number or --soils with --cover)"

#: What the library says, and what the command says instead.
OPTION_WORDS: Final[Mapping[str, str]] = {
    GIVEN_CRS: "--crs",
    ReadingRemedy.GIVE_CRS: "give the coordinate system with --crs, such as --crs EPSG:26913",
    ReadingRemedy.GIVE_RIGHT_CRS: "give the right coordinate system with --crs",
    ReadingRemedy.GIVE_CRS_IN_DEGREES: "give the right system with --crs, such as --crs EPSG:4269",
    ReadingRemedy.GIVE_CRS_OF_DEM: "give it with --crs",
    ReadingRemedy.GIVE_VERTICAL_UNIT: "say which with --vertical-unit m, ft or us-ft",
    ReadingRemedy.METRES_OR_VERTICAL_UNIT: (
        "turn them into metres, or say --vertical-unit m, ft or us-ft"
    ),
    ReadingRemedy.TURN_AND_GIVE_VERTICAL_UNIT: (
        "give the unit with --vertical-unit, after turning the heights into one of them"
    ),
    ReadingRemedy.COARSER_OR_PART: (
        "use a coarser DEM, or only the part around the ranch with --boundary"
    ),
    ReadingRemedy.NAME_BOUNDARY_LAYER: "name one with --boundary-layer",
    ReadingRemedy.LINE_OR_KEEP_CLEAR: "draw its middle line, or give the file with --keep-clear",
    ReadingRemedy.MAKE_FOLDER: "make the folder, or name another with --out",
    ReadingRemedy.ALLOW_REPLACING: "name another, or allow it to be replaced with --overwrite",
    SitingRemedy.GIVE_RAIN: f"give rainfall {_FLOOD_OPTIONS}",
    SitingRemedy.GIVE_CURVE_NUMBER: f"give a curve number {_FLOOD_OPTIONS}",
    SitingRemedy.GIVE_RAIN_AND_CURVE_NUMBER: (f"give rainfall and a curve number {_FLOOD_OPTIONS}"),
    SitingRemedy.ONE_CURVE_NUMBER: (
        "give one --curve-number instead of maps, or use a coarser DEM"
    ),
    SitingRemedy.OWN_COVERS: (
        "give a cover table of your own with --cover-table, or one --curve-number"
    ),
    SitingRemedy.NAME_SOILS_FIELD: "name the field with --soils-field",
    SitingRemedy.NAME_SOILS_LAYER: "name one with --soils-layer",
    SitingRemedy.NAME_COVER_FIELD: "name the field with --cover-field",
    SitingRemedy.NAME_COVER_LAYER: "name one with --cover-layer",
    SitingRemedy.NAME_ROADS_LAYER: "name one with --roads-layer",
    SitingRemedy.NAME_KEEP_CLEAR_LAYER: "name one with --keep-clear-layer",
    SitingRemedy.START_ON_GROUND: "give another one with --start",
    SitingRemedy.START_ELSEWHERE: "give another start with --start",
    SitingRemedy.LONGER_OR_NEARER: "give more with --hours, or a nearer start with --start",
}
#: The longest first, since one may begin another.
_ANY: Final = re.compile(
    "|".join(re.escape(phrase) for phrase in sorted(OPTION_WORDS, key=len, reverse=True))
)


def in_options(text: str) -> str:
    """Say the remedies in a sentence of the library in the command's words."""
    return _ANY.sub(lambda found: OPTION_WORDS[found.group()], text)


def all_in_options(texts: Iterable[str]) -> tuple[str, ...]:
    """Say the remedies in sentences of the library in the command's words."""
    return tuple(in_options(text) for text in texts)


def error_text(error: GullywalkError) -> str:
    """Write an error of the library as a person reads it who gave options."""
    found, expected, do = all_in_options((error.found, error.expected, error.do))
    return str(GullywalkError(found, expected=expected, do=do))
