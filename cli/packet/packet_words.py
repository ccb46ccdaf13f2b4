"""Plain words of the sheets: names of sizes, what to check on site, titles."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

#: Name of a size in the plan -> what a person reads; trade terms are told by what they are.
SIZES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "height": "Height",
        "length": "Length along the channel",
        "crest": "Across, with both ends",
        "width": "Width between the banks",
        "bed width": "Width of the bed",
        "key": "Key: end built into each bank",
        "crest dip": "Ends higher than the middle by",
        "apron": "Apron: stone flush below it",
        "rows": "Rows of stone",
        "median stone": "Half of the stones larger than",
        "largest stone": "Largest stones",
        "heaviest stone": "Heaviest stone",
        "wall": "Wall, thick",
        "pool": "Floor of the bowl, along",
        "sill height": "Sill above the floor",
        "sill length": "Sill, along",
        "span": "From bank to bank",
        "log diameter": "Thickness of the logs",
        "logs": "Logs",
        "log": "One green log weighs",
        "inset": "Let into the bed",
        "fabric width": "Width of the fabric",
        "faces covered": "Upstream faces covered",
        "wing": "Wings up the banks",
        "wires": "Lines of wire",
        "posts": "Posts",
        "ballast": "Stone laid on the logs",
        "ballast layer": "Stone on the logs, thick",
        "steps": "Steps",
        "step": "Height of a step",
        "tread": "Length of a step",
        "face": "Face, along",
        "chute width": "Width of the chute",
        "edge": "Stone up both sides",
        "layer": "Stone, thick",
        "bow": "Bowed uphill by",
        "level": "Level to within",
        "approach": "Lowered above the line, over",
        "reverse length": "Rise below the line, over",
        "reverse": "The rise climbs",
        "cut": "Cut at the low line",
        "outlet": "Outlet, long",
        "outfall": "Stone in the outlet, over",
        "pickets": "Pickets",
        "picket spacing": "Between pickets",
        "picket length": "Length of the pickets",
    }
)

#: Names that differ for a structure.
OWN_SIZES: Final[Mapping[tuple[str, str], str]] = MappingProxyType(
    {
        ("rolling dip", "height"): "Depth of the dip below its rise",
        ("rolling dip", "length"): "Length along the road",
        ("rolling dip", "crest"): "Width of the road",
        ("crescent spreader", "length"): "Width of the band",
        ("crescent spreader", "crest"): "Length of the band",
        ("crescent spreader", "wing"): "Tips sunk into the ground over",
        ("rock rundown", "crest"): "Width at the top",
    }
)

#: What a crew looks at before it starts, by what the structure is for. Common practice.
CHECKS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "vertical": (
            "The drop is where the plan has it, and no higher than the plan says.",
            "The foot of the drop is firm and not undercut; nothing hangs over the crew.",
            "The water comes in over the middle of the lip, not from the sides.",
            "The bed holds below: a sill, rock, or the structure that backs water to the foot.",
        ),
        "grade": (
            "The bed is straight and its floor firm here, with solid banks for both ends.",
            "Bankfull depth: from the bed to the flat bench or the lowest line of lasting plants.",
            "The bed holds below: rock, a junction, or the next structure downstream.",
            "No side channel comes in where an end would stand.",
        ),
        "spread": (
            "The ground below carries plants and has no rill that would gather the water again.",
            "A level shows the line to be as level as the plan says, from end to end.",
            "The water does come here: look for fresh sediment and lines of litter.",
        ),
        "dip": (
            "The water does run along the road here: look for ruts and fine sediment.",
            "The outlet is lower than the dip and leads onto ground with plants.",
            "Who drives here, with what, and who grades the road.",
        ),
        "refer": (
            "Measure drop, width and depth from a safe place; photograph it from both banks.",
            "Fences, roads, pipes, ponds and buildings within reach of it.",
            "Keep people, stock and vehicles off the lip.",
        ),
    }
)

_RING: Final = "Refer to an engineer"


def title_of(structure: str | None, control: str) -> str:
    """Name of what is to be built, as it stands at the top of a sheet."""
    if control == "refer":
        return _RING
    name = (structure or "").strip()
    return name[:1].upper() + name[1:] if name else "Structure without a name"


def short_title(structure: str | None, control: str) -> str:
    """Name of what is to be built, as it stands in lists."""
    return "Ask an engineer" if control == "refer" else title_of(structure, control)


def checks_for(structure: str | None, control: str) -> tuple[str, ...]:
    """What to look at on site."""
    return CHECKS["dip" if structure == "rolling dip" else control]


def size_words(name: str, structure: str | None) -> str:
    """Name of a size for a person; one that is not known is written as it stands."""
    own = OWN_SIZES.get((structure or "", name))
    return own or SIZES.get(name, name[:1].upper() + name[1:])
