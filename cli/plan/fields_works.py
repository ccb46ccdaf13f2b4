"""Fields of works and of what is referred: two layers, a table, and what they add to the sites.

Part of the field table (`cli.plan.fields`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Final

from cli.plan.field_types import Field, Kind, LayerSpec

Codes = tuple[tuple[str, str], ...]
#: Name, kind, decimals, meaning.
Row = tuple[str, Kind, int, str]

WORK_KINDS: Final[Codes] = (
    ("headcut", "A headcut with its grade controls"),
    ("series", "Grade controls that hold a cut bed"),
    ("spreader", "Bands that spread the water where a gully ends"),
    ("swale", "Grade controls in a swale"),
    ("road", "Dips of one stretch of road"),
)
WORK_PARTS: Final[Codes] = (
    ("sites", "What belongs to it"),
    ("lost", "What would be lost by doing nothing"),
    ("chance lost", "The chance that it is lost"),
    ("chance holds", "The chance that the work holds"),
    ("saved", "What the work saves"),
    ("takes", "What it takes"),
    ("needs", "What has to stand first"),
    ("rank", "Why it stands where it does in the list"),
    ("without", "What doing less would do"),
)

WORK_LAYERS: Final = (
    LayerSpec("referred", "Point", "site_id", "What an engineer looks at, most at risk first"),
    LayerSpec("works", "Point", "work_id", "Works by rank, each at its lowest site"),
)
WORK_TABLES: Final = (
    LayerSpec("work_reasons", None, None, "The reasoning about each work, step by step"),
)

_WORK_ID: Final = "Number of the work; the same input gives the same"
_WORTH: Final = "floor counted as soil by works.swale_worth of the limits"
_LOST: Final = "that would be lost by doing nothing within the horizon, if it is lost"
_SITES: Final[tuple[Row, ...]] = (
    ("work_id", "int", 0, "Work that the site belongs to; 0 where nothing is built"),
    (
        "list_place",
        "int",
        0,
        "Place in the list of all sites, 1 first: works by rank, the sites of each in the order of "
        "building, then what is referred, most at risk first",
    ),
)
_LAYERS: Final[Mapping[str, tuple[Row, ...]]] = MappingProxyType(
    {
        "works": (
            ("work_id", "int", 0, _WORK_ID),
            ("rank", "int", 0, "Place in the list, 1 first"),
            ("kind", "text", 0, "What kind of work it is"),
            ("sites", "int", 0, "How many sites it has"),
            ("site_ids", "text", 0, "Their numbers, in the order of building"),
            ("structures", "text", 0, "What is built, and how many of each"),
            ("lowest_site", "int", 0, "The lowest of its sites, where the point lies"),
            ("soil_lost_m3", "float", 2, f"Soil {_LOST}"),
            ("swale_lost_ha", "float", 4, f"Whole swale floor {_LOST}"),
            ("chance_lost", "float", 3, "Chance that it is lost within the horizon, 0 to 1"),
            ("chance_holds", "float", 3, "Chance that the work holds over the horizon, 0 to 1"),
            ("soil_saved_m3", "float", 2, "Soil that the work saves: lost times both chances"),
            ("swale_saved_ha", "float", 4, "Swale floor that it saves likewise"),
            ("saved_m3", "float", 2, f"Both together, {_WORTH}"),
            ("channel_held_m", "float", 2, "Channel kept from being cut, or cut deeper"),
            (
                "share_made_up",
                "float",
                3,
                "Share of the rise to the foot of the drop that the crests below make up; 1 where "
                "none has to",
            ),
            ("functions", "bool", 0, "False where that share is too small for it to work"),
            ("cost_low", "float", 2, "Cost, low end, in the money of the cost file"),
            ("cost_likely", "float", 2, "Cost, likely"),
            ("cost_high", "float", 2, "Cost, high end"),
            ("crew_days", "float", 2, "Days that a crew works on it"),
            ("crew_days_low", "float", 2, "Days, low end"),
            ("crew_days_high", "float", 2, "Days, high end"),
            (
                "width_unseen",
                "bool",
                0,
                "Whether nobody saw the width at one of its sites: likely cost and days are then "
                "those at the widest, and only the ends are told",
            ),
            (
                "saved_per_cost",
                "float",
                3,
                "m3 saved, soil and floor together, for each 1,000 of likely cost; m3 in US units "
                "too",
            ),
            ("saved_per_crew_day", "float", 3, "m3 saved for each day of a crew, likewise"),
            ("needs", "text", 0, "Numbers of works below it that have to stand first"),
            (
                "base_of",
                "text",
                0,
                "Numbers of works that it is built for, saving nothing itself",
            ),
            ("chosen", "bool", 0, "In the set chosen; without a budget all that works and saves"),
            ("chosen_why", "text", 0, "Why it is left out of the set; empty where it is in"),
            ("horizon_yr", "float", 0, "Time over which losses and chances are counted"),
            (
                "without",
                "text",
                0,
                "What rest, planting or moving the water of a road alone would do: practice, "
                "without a number",
            ),
            ("lon", "float", 7, "Longitude, WGS 84, degrees"),
            ("lat", "float", 7, "Latitude, WGS 84, degrees"),
        ),
        "referred": (
            ("site_id", "int", 0, "Number of the site"),
            ("risk_rank", "int", 0, "Place among what is referred, most at risk first"),
            ("structure", "text", 0, "What is needed first"),
            ("soil_at_risk_m3", "float", 2, "Soil in all the whole ground above the head"),
            ("soil_lost_m3", "float", 2, f"Soil {_LOST}"),
            ("swale_lost_ha", "float", 4, f"Whole swale floor {_LOST}"),
            ("chance_lost", "float", 3, "Chance that it is lost within the horizon, 0 to 1"),
            ("at_risk_m3", "float", 2, f"Lost times that chance, {_WORTH}: what the order is by"),
            ("why", "text", 0, "Why it is not for hands"),
            ("lon", "float", 7, "Longitude, WGS 84, degrees"),
            ("lat", "float", 7, "Latitude, WGS 84, degrees"),
        ),
        "work_reasons": (
            ("work_id", "int", 0, "Number of the work"),
            ("step", "int", 0, "Place in the reasoning about this work, from 1"),
            ("part", "text", 0, "Part of the reasoning"),
            ("site_id", "int", 0, "Site that it is about; 0 for the whole work"),
            ("subject", "text", 0, "What it is about"),
            ("value", "float", 4, "Factor of a chance, or the number that comes out, SI"),
            ("text", "text", 0, "The reasoning, in plain words"),
            ("source", "text", 0, "Where it comes from"),
            ("basis", "text", 0, "Published, common practice or from memory"),
        ),
    }
)
_CODES: Final[Mapping[tuple[str, str], Codes]] = MappingProxyType(
    {("works", "kind"): WORK_KINDS, ("work_reasons", "part"): WORK_PARTS}
)


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
            us_suffix="_yd3" if name.endswith("_m3") else "",
        )


#: Added to the sites.
WORK_SITE_FIELDS: Final = tuple(_fields("sites", _SITES, required=False))
WORK_FIELDS: Final = tuple(
    field for layer, rows in _LAYERS.items() for field in _fields(layer, rows, required=True)
)
