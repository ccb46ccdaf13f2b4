"""What a structure type says of its looks, checked, with a fallback where it says nothing."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType

from siting.places.spot import Spot
from siting.structures.outlines import box
from siting.structures.structure_type import Level, Outline, Size, StructureType, Symbol
from terrain.values.plugins import call_plugin

KIND = "structure type"
LEVELS: tuple[Level, ...] = ("site", "ground")
#: Words of the sizes that many types have; a type's own come first.
SIZE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "height_m": "Height",
        "length_m": "Length along the channel",
        "crest_m": "Across, with both ends",
        "width_m": "Width between the banks",
        "bed_width_m": "Width of the bed",
        "key_m": "Key: end built into each bank",
        "crest_dip_m": "Ends higher than the middle by",
        "apron_m": "Apron: stone flush below it",
        "log_diameter_m": "Thickness of the logs",
        "log_kg": "One green log weighs",
        "fabric_width_m": "Width of the fabric",
        "posts_count": "Posts",
        "ballast_kg": "Stone laid on the logs",
        "ballast_layer_m": "Stone on the logs, thick",
        "median stone": "Half of the stones larger than",
        "largest stone": "Largest stones",
        "heaviest stone": "Heaviest stone",
    }
)
_REACH = 1.25


@dataclass(frozen=True, slots=True)
class View:
    """A structure from the side or across.

    Parameters
    ----------
    outlines
        Its parts, the body first; empty where there is nothing to show.
    as_box
        Whether it is the box of its footprint at its height, since its type gives no such view.
    """

    outlines: tuple[Outline, ...] = ()
    as_box: bool = False


def label_of(kind: StructureType) -> str:
    """What a type is called in lists and drawings."""
    return str(getattr(kind, "label", "") or kind.name)


def height_word_of(kind: StructureType) -> str:
    """What its height is called beside the number."""
    return str(getattr(kind, "height_word", "") or "high")


def size_words_of(kind: StructureType, name: str) -> str:
    """What one of its sizes is, in a few words; empty where nobody says."""
    own: Mapping[str, str] = getattr(kind, "size_words", {}) or {}
    return str(own.get(name) or SIZE_WORDS.get(name, ""))


def look_first_of(kind: StructureType) -> tuple[str, ...]:
    """What a crew looks at on site before it starts."""
    return tuple(str(text) for text in getattr(kind, "look_first", ()) or ())


def symbol_of(kind: StructureType) -> Symbol | None:
    """Shape of its own on maps; None for that of its control."""
    symbol: Symbol | None = getattr(kind, "symbol", None)
    return symbol


def symbol_fault(symbol: Symbol | None) -> str:
    """Why a shape cannot be drawn; empty when it can, or when there is none."""
    if symbol is None:
        return ""
    if not str(symbol.words).strip():
        return "its symbol has no words for a legend."
    rings = [tuple(ring) for ring in symbol.rings]
    if not rings or min(len(ring) for ring in rings) < 3:
        return "its symbol needs rings of three corners at least."
    if not all(abs(float(v)) <= _REACH for ring in rings for point in ring for v in point):
        return f"its symbol reaches beyond a box from {-_REACH:g} to {_REACH:g}."
    return ""


def side_of(kind: StructureType, spot: Spot, size: Size) -> View:
    """How a structure looks from the side.

    Raises
    ------
    PluginError
        The type fails at its work, or gives what is no outline.
    """
    given = _given(kind, "side_view", spot, size)
    if given is not None:
        return View(given)
    return _boxed(size, size.length_m, 0, drop=kind.control == "vertical")


def section_of(kind: StructureType, spot: Spot, size: Size) -> View:
    """How a structure looks in a section across the channel; `PluginError` as `side_of`."""
    given = _given(kind, "section", spot, size)
    if given is not None:
        return View(given)
    return _boxed(size, size.crest_m, 1, drop=False)


def _boxed(size: Size, extent_m: float, axis: int, *, drop: bool) -> View:
    """Box of the body's footprint at its height; from the lip down where it stands at a drop."""
    body = size.parts[0].outline if size.parts else ((-extent_m / 2,) * 2, (extent_m / 2,) * 2)
    ends = [corner[axis] for corner in body]
    low, high = (-size.height_m, 0.0) if drop else (0.0, size.height_m)
    if not all(map(math.isfinite, (*ends, low, high))) or not high > low:
        return View()
    level: Level = "site" if drop or axis else "ground"
    seen = box("body", (min(ends), max(ends)), (low, high), level=level, in_ground=False)
    return View((seen,), as_box=True)


def _given(kind: StructureType, name: str, spot: Spot, size: Size) -> tuple[Outline, ...] | None:
    """Outlines that a type gives, checked; None where it gives none."""
    draw: Callable[[Spot, Size], tuple[Outline, ...] | None] | None = getattr(kind, name, None)
    if draw is None:
        return None
    return call_plugin(KIND, kind.name, partial(_checked, draw, name, spot, size))


def _checked(
    draw: Callable[[Spot, Size], tuple[Outline, ...] | None], name: str, spot: Spot, size: Size
) -> tuple[Outline, ...] | None:
    made = draw(spot, size)
    if made is None:
        return None
    for part in made:
        corners = [(float(x), float(height)) for x, height in part.corners]
        if part.level not in LEVELS:
            raise ValueError(f"{name}: heights of {part.name!r} count from {part.level!r}")
        if len(corners) < 3 or not all(map(math.isfinite, sum(corners, ()))):
            raise ValueError(f"{name}: {part.name!r} is no outline of three known corners or more")
    return tuple(part for part in made if _has_area(part))


def _has_area(part: Outline) -> bool:
    """Whether a part is more than a line: an apron of no length is none."""
    xs, heights = zip(*part.corners, strict=True)
    return bool(max(xs) - min(xs) > 1e-6 and max(heights) - min(heights) > 1e-6)


def needs_tailwater(kind: StructureType) -> bool:
    """Whether a type at a drop needs water backed to its foot; so where it does not say."""
    return bool(getattr(kind, "needs_tailwater", True))
