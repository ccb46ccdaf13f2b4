"""Fields of structures: what is added to the sites, two layers and their tables.

Part of the field table (`cli.plan.fields`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Final

from cli.plan.field_types import Field, Kind, LayerSpec

Codes = tuple[tuple[str, str], ...]

CONTROLS: Final[Codes] = (
    ("vertical", "Stops a drop from moving upstream"),
    ("grade", "Holds the bed at its level"),
    ("spread", "Slows and spreads the flow over the ground"),
    ("hold", "Not to be built yet: measure again, or settle its partner"),
    ("refer", "Beyond hand work: ask an engineer"),
)
PURPOSES: Final[Codes] = (
    ("vertical", "A drop in the bed of a channel"),
    ("grade", "The bed of a channel"),
    ("spread", "Ground where water may spread"),
    ("road", "A road that carries water: no channel and no flood is measured there"),
)
SETTINGS: Final[Codes] = (
    ("swale", "A shallow grassed hollow without a cut bed"),
    ("discontinuous gully", "A gully flatter than its valley, which runs out on a fan"),
    ("incised channel", "A channel cut so deep that floods stay in it"),
    ("widening reach", "A deep channel whose banks are falling in"),
    ("fan", "Ground where a gully drops its sediment and the flow spreads"),
    ("wet-meadow candidate", "A wide flat floor that may have been a wet meadow; confirm on site"),
)
STAGES: Final[Codes] = (
    ("0", "Not known"),
    ("1", "Stable: floods reach the floor beside the channel"),
    ("2", "Cutting down"),
    ("3", "Widening: the banks are too high to stand"),
    ("4", "Filling: a new, lower floor is growing"),
    ("5", "At rest again on a lower floor"),
)
CONFINEMENTS: Final[Codes] = (
    ("confined", "Valley floor less than about 2 bankfull widths wide"),
    ("partly confined", "Valley floor about 2 to 4 bankfull widths wide"),
    ("unconfined", "Valley floor more than about 4 bankfull widths wide"),
)
BANKFULL_SOURCES: Final[Codes] = (
    ("bench", "Inner bench seen in the cross-section"),
    ("flow", "Depth of the 1.5 to 2 year flow"),
    ("curve", "From a published regional curve"),
    ("none", "Not known: measure on site"),
    ("measured", "Measured on site"),
)
POOL_KINDS: Final[Codes] = (
    ("pool", "Water held behind the structure at rest; a stone structure leaks"),
    ("wedge", "Sediment that will fill in behind it"),
)
REASON_PARTS: Final[Codes] = (
    ("measured", "What was measured here"),
    ("limits", "Limits held against the place"),
    ("alternatives", "Other structures, and why not"),
    ("sizes", "How the sizes came about"),
    ("spacing", "How far apart"),
    ("pair", "The pair it belongs to and its pool"),
    ("benefit", "What is gained"),
    ("flood", "The flood it is made for"),
    ("rank", "Why it stands where it does in the list"),
    ("bed", "What the likely flow carries off first, and whether the banks stand"),
)
GIVES_FIRST: Final[Codes] = (
    ("above", "The bed above the structure"),
    ("structure", "The structure's own stone on the bed; at a drop that of its apron"),
    ("ends", "Its stone where it is carried up the banks"),
    ("below", "The bed below the structure"),
)
VERDICTS: Final[Codes] = (
    ("holds", "The limit is kept"),
    ("fails", "The limit is passed"),
    ("gives way", "The likely flow carries it off, or it falls: a caution, nothing is refused"),
    ("chosen", "Chosen"),
    ("not chosen", "Not chosen"),
)
INSTRUCTION_KINDS: Final[Codes] = (
    ("check", "What to look at on site before the work starts"),
    ("build", "A step of the work"),
    ("fails", "How it can fail, the sign to look for, and what to do"),
    ("inspect", "What to inspect, and when"),
)
VIEWS: Final[Codes] = (
    ("side", "From the side: metres downstream of the site"),
    ("section", "In the section across the channel, looking downstream: metres to the right"),
)
LEVELS: Final[Codes] = (
    ("site", "The ground at the site: the bed or the lip; in the section its lowest ground"),
    ("ground", "The ground beneath each corner"),
)

STRUCTURE_LAYERS: Final = (
    LayerSpec("pools", "MultiPolygon", None, "Pools behind structures, and their sediment"),
    LayerSpec("structures", "MultiPolygon", None, "Footprints of the structures, to scale"),
)
STRUCTURE_TABLES: Final = (
    LayerSpec("hydraulics", None, None, "Flow in the channel at each site and return period"),
    LayerSpec("spacings", None, None, "Spacing by every rule that applies to the structure"),
    LayerSpec("sizes", None, None, "Sizes of each structure"),
    LayerSpec(
        "structure_types", None, None, "What the types of these structures say of themselves"
    ),
    LayerSpec(
        "structure_outlines", None, None, "Structures from the side and in section, to scale"
    ),
    LayerSpec("materials", None, None, "What it takes, by site and for all sites together"),
    LayerSpec("costs", None, None, "What it costs, by site and for all sites together"),
    LayerSpec("reasons", None, None, "The reasoning at each site, step by step"),
    LayerSpec("instructions", None, None, "How to build it, how it fails, how to inspect it"),
    LayerSpec("before_you_build", None, None, "What to settle before any work"),
)

#: Name, kind, decimals, meaning.
Row = tuple[str, Kind, int, str]
_SITE: Final = ("site_id", "int", 0, "Number of the site")
_UNSEEN: Final = "empty where nobody saw how wide the channel is"
_SITE_OR_ALL: Final = (
    "site_id",
    "int",
    0,
    "Number of the site; 0 for all sites together, -1 for those that a budget chose",
)

_SITES: Final[tuple[Row, ...]] = (
    ("setting", "text", 0, "What kind of reach this is"),
    ("stage", "int", 0, "How far the channel is in cutting down and healing"),
    ("stage_confidence", "float", 2, "How sure that stage is, 0 to 1"),
    ("width_depth_ratio", "float", 1, "Bankfull width over mean bankfull depth"),
    (
        "bank_height_ratio",
        "float",
        2,
        "Lower bank height over bankfull depth; above 1.5 deeply cut",
    ),
    ("entrenchment_ratio", "float", 2, "Width at twice bankfull depth over bankfull width"),
    ("valley_floor_width_m", "float", 2, "Width of the flat floor that the channel lies in"),
    ("confinement", "text", 0, "How much room the valley leaves the channel"),
    ("bankfull_source", "text", 0, "Where the bankfull size comes from"),
    ("bankfull_bench_m", "float", 3, "Bankfull depth by a bench in the section"),
    ("bankfull_flow_m", "float", 3, "Bankfull depth by the 2-year flow"),
    ("bankfull_curve_m", "float", 3, "Bankfull depth by a regional curve"),
    ("bankfull_low_m", "float", 3, "Lowest of the estimates of bankfull depth"),
    ("bankfull_high_m", "float", 3, "Highest of the estimates of bankfull depth"),
    ("stone_d50_m", "float", 3, "Stone that half of the stones are smaller than"),
    ("stone_d100_m", "float", 3, "Largest stone"),
    ("stone_heaviest_kg", "float", 2, "Mass of the largest stone; from about 23 kg two people"),
    ("design_return_period_yr", "float", 0, "Return period of the flood that sizes are made for"),
    ("design_flow_m3s", "float", 4, "Peak flow of that flood, which sizes are made for"),
    ("design_flow_low_m3s", "float", 4, "Low end of the range of that flow"),
    ("design_flow_high_m3s", "float", 4, "High end; what must hold is checked at it"),
    ("flow_range_from", "text", 0, "What that range rests on: the widest of its single parts"),
    ("fails_at_high_flow", "text", 0, "Limits that hold at that flow and not at its high end"),
    ("design_depth_m", "float", 3, "Depth of that flood in the channel"),
    ("design_velocity_mps", "float", 3, "Mean velocity of that flood"),
    ("design_shear_pa", "float", 2, "Pull of that flood on the bed"),
    ("design_froude", "float", 3, "Froude number of that flood; above 1 it shoots"),
    ("spacing_m", "float", 2, "Distance to the next structure of its series, along the bed"),
    ("spacing_rule", "text", 0, "Rule that this distance comes from"),
    ("toe_depth_m", "float", 3, "Depth of still water at the foot of the drop above; lower bound"),
    ("tailwater_toe_m", "float", 3, "Depth of water at that foot at the design flood"),
    ("pool_area_m2", "float", 2, f"Area of the still pool; {_UNSEEN}"),
    ("pool_volume_m3", "float", 2, f"Volume of the still pool; {_UNSEEN}"),
    ("wedge_length_m", "float", 2, "Length of the sediment that fills in behind it"),
    ("wedge_volume_m3", "float", 2, f"Volume of that sediment; {_UNSEEN}"),
    (
        "retreat_m_per_yr",
        "float",
        2,
        "How fast the head moves if nothing is done; order of magnitude",
    ),
    ("swale_at_risk_m", "float", 2, "Uncut swale above a head at risk, length"),
    ("swale_at_risk_ha", "float", 4, "Uncut swale above a head at risk, area"),
    ("soil_at_risk_m3", "float", 2, "Soil that the head would carry off on its way up"),
    (
        "rewetted_m2",
        "float",
        2,
        f"Ground within the structure's height above the channel at its pool; {_UNSEEN}",
    ),
    ("cost_low", "float", 2, "Cost, low end, in the money of the cost file"),
    ("cost_likely", "float", 2, "Cost, likely, in the money of the cost file"),
    ("cost_high", "float", 2, "Cost, high end, in the money of the cost file"),
    ("crew_days", "float", 2, "Days that a crew works on it, likely"),
    ("crew_days_low", "float", 2, "Days that a crew works on it, low end"),
    ("crew_days_high", "float", 2, "Days that a crew works on it, high end"),
    ("chosen", "bool", 0, "In the set chosen; without a budget all that works and saves"),
    ("chosen_why", "text", 0, "Why it is left out of the set; empty where it is in"),
    ("nearest_road_m", "float", 2, "Distance to the nearest road given"),
    (
        "first_to_give",
        "text",
        0,
        "What the likely design flow carries off first, or comes nearest to",
    ),
    (
        "first_pull_pa",
        "float",
        2,
        "Pull of that flow there, on the deepest part of the bed; empty where nobody saw the width",
    ),
    ("first_stands_low_pa", "float", 2, "Pull that it stands, low end of what is printed"),
    ("first_stands_high_pa", "float", 2, "Pull that it stands, high end of what is printed"),
    (
        "structure_shear_ratio",
        "float",
        3,
        "Pull of that flow over what the structure's own stone stands, or speed over it; this and "
        "the next two are empty where nobody saw the width",
    ),
    (
        "reach_shear_ratio",
        "float",
        2,
        "Pull over the least that the bed above and below stands; empty where its soil is not told",
    ),
    (
        "reach_shear_ratio_least",
        "float",
        2,
        "Pull over the most that the bed above and below may stand, whatever it is made of",
    ),
    ("bank_stands_wet_m", "float", 2, "Height that an upright bank stands soaked and cracked"),
    ("bank_stands_drained_m", "float", 2, "Height that an upright bank stands drained and whole"),
    ("purpose", "text", 0, "What the place is"),
)
_TABLES: Final[Mapping[str, tuple[Row, ...]]] = MappingProxyType(
    {
        "pools": (
            _SITE,
            ("kind", "text", 0, "Water or sediment"),
            ("area_m2", "float", 2, f"Its area; {_UNSEEN}"),
            ("volume_m3", "float", 2, f"Its volume; {_UNSEEN}"),
            ("depth_m", "float", 3, "Greatest depth"),
        ),
        "structures": (
            _SITE,
            ("structure", "text", 0, "What to build"),
            ("control", "text", 0, "What the structure is for"),
            ("part", "text", 0, "Which part of it, such as mat, apron or left key"),
            ("is_body", "bool", 0, "True for the body, false for aprons, keys and other parts"),
        ),
        "hydraulics": (
            _SITE,
            ("return_period_yr", "int", 0, "Return period of the flood"),
            ("discharge_m3s", "float", 4, "Its peak flow"),
            ("depth_m", "float", 3, "Depth of uniform flow above the lowest bed, by Manning"),
            ("top_width_m", "float", 2, "Width of the water's surface"),
            ("velocity_mps", "float", 3, "Mean velocity"),
            ("shear_pa", "float", 2, "Pull on the bed"),
            ("froude", "float", 3, "Froude number; above 1 the flow shoots"),
            ("overtops", "bool", 0, "Whether it leaves the measured section over its lower end"),
        ),
        "spacings": (
            _SITE,
            ("rule", "text", 0, "Rule of spacing"),
            ("spacing_low_m", "float", 2, "Distance by this rule, low end, along the bed"),
            ("spacing_high_m", "float", 2, "Distance by this rule, high end, along the bed"),
            ("chosen", "bool", 0, "Whether the plan keeps to this rule"),
            ("source", "text", 0, "Where the rule comes from"),
            ("basis", "text", 0, "Published, common practice or from memory"),
            ("note", "text", 0, "What else there is to say of it"),
        ),
        "sizes": (
            _SITE,
            ("name", "text", 0, "What is measured"),
            ("value", "float", 3, "How large it is; empty where it is a range: measure first"),
            ("unit", "text", 0, "Unit of the value"),
            ("meaning", "text", 0, "What it is, in a few words"),
            ("note", "text", 0, "How it came about"),
            (
                "value_low",
                "float",
                3,
                "Least it may be, where nobody saw the width; else the value",
            ),
            (
                "value_high",
                "float",
                3,
                "Most it may be, where nobody saw the width; else the value",
            ),
        ),
        "structure_types": (
            ("structure", "text", 0, "Type of structure, as it stands in the layer sites"),
            ("control", "text", 0, "What the structure is for"),
            ("label", "text", 0, "What it is called in lists and drawings"),
            ("height_word", "text", 0, "What its height is called beside the number"),
            ("summary", "text", 0, "What it is and does"),
            ("symbol_words", "text", 0, "Words of its own shape on maps; empty for none"),
            (
                "symbol",
                "text",
                0,
                "Its own shape on maps: rings of x,y in a box from -1.25 to 1.25, y up; empty for "
                "that of its control",
            ),
            ("symbol_turns", "bool", 0, "Whether that shape turns with the flow, foot downstream"),
        ),
        "structure_outlines": (
            _SITE,
            ("view", "text", 0, "From where it is seen"),
            ("shape", "int", 0, "Number of the part in this view, from 1"),
            ("part", "text", 0, "Which part of it, such as wall, apron or left key"),
            ("is_body", "bool", 0, "True for the body, false for the other parts"),
            (
                "as_box",
                "bool",
                0,
                "True where its type gives no such view: the box of its footprint at its height",
            ),
            ("level", "text", 0, "What the height counts from"),
            ("in_ground", "bool", 0, "False where only what stands above the ground is seen"),
            ("offset_m", "float", 3, "Distance of this corner: downstream, or to the right"),
            ("height_m", "float", 3, "Height of this corner; below zero it is let in"),
        ),
        "materials": (
            _SITE_OR_ALL,
            ("item", "text", 0, "Short name of the material"),
            ("meaning", "text", 0, "What it is"),
            ("amount", "float", 3, "So much of it is built in; empty where it is a range"),
            ("unit", "text", 0, "Unit of the amounts"),
            (
                "amount_with_spare",
                "float",
                3,
                "So much of it to bring, spare included; empty where it is a range",
            ),
            ("loads", "float", 1, "Truck loads of it, at the most"),
            ("note", "text", 0, "What it is for"),
            ("amount_low", "float", 3, "The least of it, where nobody saw a width"),
            ("amount_high", "float", 3, "The most of it, where nobody saw a width"),
            ("spare_low", "float", 3, "The least to bring, where nobody saw a width"),
            ("spare_high", "float", 3, "The most to bring, where nobody saw a width"),
        ),
        "costs": (
            _SITE_OR_ALL,
            ("item", "text", 0, "What is paid for"),
            ("quantity", "float", 3, "How much of it; empty where it is a range"),
            ("unit", "text", 0, "Unit of the quantity"),
            ("low", "float", 2, "Cost, low end, in the money of the cost file"),
            ("likely", "float", 2, "Cost, likely"),
            ("high", "float", 2, "Cost, high end"),
        ),
        "reasons": (
            _SITE,
            ("step", "int", 0, "Place in the reasoning at this site, from 1"),
            ("part", "text", 0, "Part of the reasoning"),
            ("subject", "text", 0, "What it is about: a measure, a limit, a structure, a rule"),
            ("verdict", "text", 0, "What came out, where something was decided"),
            ("text", "text", 0, "The reasoning, in plain words"),
            ("source", "text", 0, "Where it comes from"),
            ("basis", "text", 0, "Published, common practice or from memory"),
        ),
        "instructions": (
            _SITE,
            ("step", "int", 0, "Place in the order, from 1"),
            ("kind", "text", 0, "What kind of instruction"),
            ("text", "text", 0, "What to do or to look for"),
        ),
        "before_you_build": (
            ("step", "int", 0, "Place in the order, from 1"),
            ("subject", "text", 0, "What it is about"),
            ("text", "text", 0, "What to settle"),
        ),
    }
)
_CODES: Final[Mapping[tuple[str, str], Codes]] = MappingProxyType(
    {
        ("sites", "purpose"): PURPOSES,
        ("sites", "first_to_give"): GIVES_FIRST,
        ("sites", "setting"): SETTINGS,
        ("sites", "stage"): STAGES,
        ("sites", "confinement"): CONFINEMENTS,
        ("sites", "bankfull_source"): BANKFULL_SOURCES,
        ("pools", "kind"): POOL_KINDS,
        ("structures", "control"): CONTROLS,
        ("structure_types", "control"): CONTROLS,
        ("structure_outlines", "view"): VIEWS,
        ("structure_outlines", "level"): LEVELS,
        ("reasons", "part"): REASON_PARTS,
        ("reasons", "verdict"): VERDICTS,
        ("instructions", "kind"): INSTRUCTION_KINDS,
    }
)
#: Fields of the layers and tables that may be left out; every other one is required.
_OPTIONAL: Final = frozenset(
    {"value_low", "value_high", "amount_low", "amount_high", "spare_low", "spare_high"}
    | {
        "note",
        "meaning",
        "loads",
        "source",
        "basis",
        "subject",
        "verdict",
        "symbol_words",
        "symbol",
    }
)
#: Numbers whose unit stands in the same row.
_UNIT_IN_ROW: Final = frozenset(
    {"value", "value_low", "value_high", "amount", "amount_low", "amount_high"}
    | {"amount_with_spare", "spare_low", "spare_high", "quantity"}
)


def _fields(layer: str, rows: tuple[Row, ...], *, required: bool) -> Iterator[Field]:
    for name, kind, decimals, meaning in rows:
        yield Field(
            layer,
            name,
            kind,
            decimals,
            meaning,
            required and name not in _OPTIONAL,
            _CODES.get((layer, name), ()),
            us_suffix="_yd3" if name.endswith("_m3") else "",
            unit_from="unit" if name in _UNIT_IN_ROW else "",
        )


#: Added to the sites; none is required, so that a part of a run can do without.
SITE_FIELDS: Final = tuple(_fields("sites", _SITES, required=False))
STRUCTURE_FIELDS: Final = tuple(
    field for layer, rows in _TABLES.items() for field in _fields(layer, rows, required=True)
)
