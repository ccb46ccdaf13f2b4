"""Fields of the way back: records of sites, what was measured, what changed, what is set aside.

Part of the field table (`cli.plan.fields`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Final

from cli.plan.field_types import Field, Kind, LayerSpec
from cli.plan.fields_ground import DECISIONS
from cli.plan.fields_structures import CONTROLS

Codes = tuple[tuple[str, str], ...]
#: Name, kind, decimals, meaning.
Row = tuple[str, Kind, int, str]

POOL_SOURCES: Final[Codes] = (
    ("dem", "Read from the elevation raster"),
    ("measured", "Worked out for an even channel of the measured section and slope"),
)
ROW_STATES: Final[Codes] = (
    ("used", "Everything in it is used"),
    ("partly used", "Some of it is set aside"),
    ("set aside", "None of it is used"),
    ("blank", "It says nothing but the site's number"),
)
ASIDE_KINDS: Final[Codes] = (
    ("unknown", "No such site"),
    ("conflicting", "Rows or decisions that contradict each other"),
    ("impossible", "Outside what can be"),
    ("unread", "Not a number, or not a decision"),
)
CHANGE_KINDS: Final[Codes] = (
    ("measured", "Planned with, and measured on site"),
    ("changed", "What follows from it"),
)
PLANNED_SOURCES: Final[Codes] = (
    ("dem", "Measured on the elevation raster"),
    ("curve", "From a published regional curve"),
)

RECORD_TABLES: Final = (
    LayerSpec(
        "site_records", None, "site_id", "All that each site was decided from, to decide it again"
    ),
)
#: Tables that only a revised plan has.
REVISED_TABLES: Final = (
    LayerSpec("planned", None, "site_id", "Every site as it was planned before measuring"),
    LayerSpec("changes", None, None, "What was measured, and what changed with it"),
    LayerSpec("bias", None, "measure", "How far the elevations are off on this ranch"),
    LayerSpec("set_aside", None, None, "What came from the field and could not be used, and why"),
    LayerSpec("field_rows", None, None, "Every row that came from the field, as it was given"),
)
_SITE: Final[Row] = ("site_id", "int", 0, "Number of the site")
_ON_SITE: Final = "measured on site; empty where it was not"
_REVISION: Final[Row] = ("revision", "int", 0, "Which revision brought it, from 1")
_SOURCE: Final[Row] = ("source", "text", 0, "File that it stood in")
_ROW: Final[Row] = ("row", "int", 0, "Line of the file, or number of the feature")
_GIVEN_SITE: Final[Row] = ("site", "text", 0, "Site as it was given")

_SITES: Final[tuple[Row, ...]] = (
    ("pool_source", "text", 0, "Where pool, sediment and rewetted ground come from"),
    ("measured_width_m", "float", 3, f"Width between the bank tops, {_ON_SITE}"),
    ("measured_depth_m", "float", 3, f"Depth below the lower bank, {_ON_SITE}"),
    ("measured_bankfull_depth_m", "float", 3, f"Bankfull depth, {_ON_SITE}"),
    ("measured_drop_m", "float", 3, f"Height of the drop, {_ON_SITE}"),
    ("measured_slope", "float", 5, f"Bed slope, {_ON_SITE}"),
    ("moved_m", "float", 2, "How far the site was moved on site; empty where it was not"),
    ("decision", "text", 0, "What was decided on site"),
    ("soil", "text", 0, "Soil seen on site"),
    ("field_notes", "text", 0, "Notes from the field"),
    ("photos", "text", 0, "Names of photographs"),
    ("measured_by", "text", 0, "Who measured"),
    ("measured_on", "text", 0, "When it was measured"),
)
_TABLES: Final[Mapping[str, tuple[Row, ...]]] = MappingProxyType(
    {
        "site_records": (
            _SITE,
            ("text", "text", 0, "The record, JSON, SI units; not to be edited"),
        ),
        "planned": (
            _SITE,
            ("rank", "int", 0, "Rank of its work; 0 where nothing is built"),
            ("score", "float", 3, "What its work saves for its cost, over the most of any work"),
            ("structure", "text", 0, "What was to be built"),
            ("control", "text", 0, "What it was for"),
            ("pair_id", "int", 0, "Sites that were to work together share this number"),
            ("build_order", "int", 0, "Which was to be built first, from 1"),
            ("slope", "float", 5, "Bed slope"),
            ("width_m", "float", 2, "Bank-top width"),
            ("depth_m", "float", 2, "Bank-top depth"),
            ("width_source", "text", 0, "Where the width came from"),
            ("bankfull_depth_m", "float", 2, "Bankfull depth"),
            ("headcut_height_m", "float", 2, "Height of the drop; empty where there is none"),
            ("structure_height_m", "float", 2, "Height of the structure"),
            ("structure_length_m", "float", 2, "Length of the structure along the channel"),
            ("cost_low", "float", 2, "Cost, low end, in the money of the cost file"),
            ("cost_likely", "float", 2, "Cost, likely"),
            ("cost_high", "float", 2, "Cost, high end"),
            ("crew_days", "float", 2, "Days that a crew works on it"),
            ("lon", "float", 7, "Longitude, WGS 84, degrees"),
            ("lat", "float", 7, "Latitude, WGS 84, degrees"),
        ),
        "changes": (
            ("site_id", "int", 0, "Number of the site; 0 for all sites together"),
            ("kind", "text", 0, "Measured, or changed with it"),
            ("subject", "text", 0, "What it is about"),
            ("planned", "float", 4, "Number before"),
            ("now", "float", 4, "Number now"),
            ("unit", "text", 0, "Unit of both"),
            ("planned_text", "text", 0, "Words before"),
            ("now_text", "text", 0, "Words now"),
            ("note", "text", 0, "What else there is to say of it"),
        ),
        "bias": (
            ("measure", "text", 0, "What was measured"),
            ("measurements", "int", 0, "How many sites it rests on"),
            ("median_ratio", "float", 3, "Measured over what the elevations show, median"),
            ("low_ratio", "float", 3, "The same, a quarter of the sites lie below"),
            ("high_ratio", "float", 3, "The same, a quarter of the sites lie above"),
            ("text", "text", 0, "The same in words"),
        ),
        "set_aside": (
            _REVISION,
            _SOURCE,
            _ROW,
            _GIVEN_SITE,
            ("column", "text", 0, "Column of the value; empty for the whole row"),
            ("given", "text", 0, "The value as it was given"),
            ("kind", "text", 0, "What is wrong with it"),
            ("reason", "text", 0, "The same in words"),
        ),
        "field_rows": (
            _REVISION,
            _SOURCE,
            _ROW,
            _GIVEN_SITE,
            ("status", "text", 0, "What became of it"),
            ("text", "text", 0, "The row, JSON: text by name of the column"),
        ),
    }
)
_CODES: Final[Mapping[tuple[str, str], Codes]] = MappingProxyType(
    {
        ("sites", "pool_source"): POOL_SOURCES,
        ("sites", "decision"): DECISIONS,
        ("planned", "control"): CONTROLS,
        ("planned", "width_source"): PLANNED_SOURCES,
        ("changes", "kind"): CHANGE_KINDS,
        ("set_aside", "kind"): ASIDE_KINDS,
        ("field_rows", "status"): ROW_STATES,
    }
)
_UNIT_IN_ROW: Final = frozenset({("changes", "planned"), ("changes", "now")})


def _fields(layer: str, rows: tuple[Row, ...], *, required: bool) -> Iterator[Field]:
    for name, kind, decimals, meaning in rows:
        yield Field(
            layer,
            name,
            kind,
            decimals,
            meaning,
            required and kind != "text",
            _CODES.get((layer, name), ()),
            unit_from="unit" if (layer, name) in _UNIT_IN_ROW else "",
        )


FIELD_SITE_FIELDS: Final = tuple(_fields("sites", _SITES, required=False))
REVISING_FIELDS: Final = tuple(
    field for layer, rows in _TABLES.items() for field in _fields(layer, rows, required=True)
)
