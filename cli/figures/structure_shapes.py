"""Outlines of structures in a long profile and in a cross-section, to scale, from their sizes.

A profile's outline holds (along, height): metres downstream of the crest or lip, and metres above
or below the level that the function names. What a size does not tell (how deep a stone sits, how
far a picket is driven) is drawn as the build steps say it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

Sizes = Mapping[str, float]
Outline = tuple[tuple[float, float], ...]
#: Thickness that is drawn where stone is laid and no stone size is given, m.
STONE_M = 0.10


@dataclass(frozen=True, slots=True)
class Solid:
    """A piece of a structure in a profile.

    Parameters
    ----------
    outline
        Corners as (along, height), m.
    on_bed
        Whether heights count from the bed beneath each corner, not from the crest's own level.
    """

    outline: Outline
    on_bed: bool = False


@dataclass(frozen=True, slots=True)
class Crest:
    """A structure in a cross-section.

    Parameters
    ----------
    offset_m, height_m
        Crest from left to right: metres from the middle, and above the bed or below the lip.
    base_m
        How far it reaches below the bed.
    from_lip
        Whether heights count from the lip of the drop instead of from the bed; it is then seen
        from below, down to the bed of the channel.
    """

    offset_m: tuple[float, ...]
    height_m: tuple[float, ...]
    base_m: float = 0.0
    from_lip: bool = False


def _box(start: float, end: float, low: float, high: float) -> Outline:
    return ((start, low), (start, high), (end, high), (end, low))


def _stone(sizes: Sizes) -> float:
    return sizes.get("largest stone", STONE_M)


def _sunk(sizes: Sizes) -> float:
    return max(_stone(sizes) - sizes["height"], 0.0)


def _across_bed(sizes: Sizes) -> tuple[Solid, ...]:
    """One-rock dam: a body on the bed and an apron flush with it."""
    half, stone = sizes["length"] / 2, _stone(sizes)
    # One stone high: what does not stand above the bed is let into it.
    body = Solid(_box(-half, half, -_sunk(sizes), sizes["height"]), on_bed=True)
    apron = _box(half, half + sizes.get("apron", 0.0), -stone, 0.0)
    return body, Solid(apron, on_bed=True)


def _log_mat(sizes: Sizes) -> tuple[Solid, ...]:
    half, inset = sizes["length"] / 2, sizes.get("inset", 0.0)
    return (Solid(_box(-half, half, -inset, sizes["height"]), on_bed=True),)


def _wicker_weir(sizes: Sizes) -> tuple[Solid, ...]:
    half, height = sizes["length"] / 2, sizes["height"]
    driven = max(sizes.get("picket length", 0.0) - height, 0.0)
    thin = min(half, 0.03)
    return (
        Solid(_box(-half, half, 0.0, height), on_bed=True),
        Solid(_box(-thin, thin, -driven, 0.0), on_bed=True),
        Solid(_box(half, half + sizes.get("apron", 0.0), -STONE_M, 0.0), on_bed=True),
    )


def _rock_bowl(sizes: Sizes) -> tuple[Solid, ...]:
    drop, wall, pool = sizes["height"], sizes["wall"], sizes["pool"]
    stone, run = _stone(sizes), sizes["wall"] + sizes["pool"]
    # The wall leans against the soil: its face runs from the lip to the floor.
    face = ((0.0, 0.0), (wall / 2, 0.0), (wall, -drop), (wall, -drop - stone), (0.0, -drop - stone))
    floor = _box(wall, wall + pool, -drop - stone, -drop)
    sill_top = -drop + sizes.get("sill height", 0.0)
    sill = _box(run, run + sizes.get("sill length", 0.0), -drop - stone, sill_top)
    return Solid(face), Solid(floor), Solid(sill)


def _rock_rundown(sizes: Sizes) -> tuple[Solid, ...]:
    drop, face, layer = sizes["height"], sizes["face"], sizes.get("layer", STONE_M)
    end = face + sizes.get("apron", 0.0)
    return (
        Solid(
            ((0.0, 0.0), (face, -drop), (end, -drop), (end, -drop - layer), (face, -drop - layer),
             (0.0, -layer))
        ),
    )  # fmt: skip


def _log_drop(sizes: Sizes) -> tuple[Solid, ...]:
    count = max(round(sizes["steps"]), 1)
    step, thick = sizes["step"], sizes["log diameter"]
    apron = sizes.get("apron", 0.0)
    tread = (sizes["length"] - apron) / count
    start = -count * tread / 2
    logs = tuple(
        Solid(_box(start + (i + 1) * tread - thick, start + (i + 1) * tread, -i * step - thick,
                   -i * step))
        for i in range(count)
    )  # fmt: skip
    fill = tuple(
        Solid(_box(start + i * tread, start + (i + 1) * tread - thick, -(i + 1) * step, -i * step))
        for i in range(count)
    )
    foot = start + count * tread
    below = Solid(_box(foot, foot + apron, -count * step - STONE_M, -count * step))
    return (*logs, *fill, below)


def _band(sizes: Sizes) -> tuple[Solid, ...]:
    return (Solid(_box(0.0, sizes["length"], 0.0, sizes["height"]), on_bed=True),)


def _rolling_dip(sizes: Sizes) -> tuple[Solid, ...]:
    """Cut and rise against the old grade of the road; equal areas, as the sizes are worked out."""
    approach, rise, cut = sizes["approach"], sizes["reverse length"], sizes["cut"]
    lowered = ((-approach, 0.0), (rise / 2, 0.0), (0.0, -cut))
    raised = ((rise / 2, 0.0), (rise, cut), (rise + approach, 0.0))
    return Solid(lowered, on_bed=True), Solid(raised, on_bed=True)


_PROFILES: Mapping[str, Callable[[Sizes], tuple[Solid, ...]]] = MappingProxyType(
    {
        "one-rock dam": _across_bed,
        "log mat": _log_mat,
        "wicker weir": _wicker_weir,
        "rock bowl": _rock_bowl,
        "rock rundown": _rock_rundown,
        "log drop": _log_drop,
        "crescent spreader": _band,
        "rolling dip": _rolling_dip,
    }
)


def solids_of(structure: str, sizes: Sizes) -> tuple[Solid, ...]:
    """Pieces of a structure in a long profile; none for a type or sizes that are not known.

    Parameters
    ----------
    structure
        Type, as it stands in a plan.
    sizes
        Sizes by their name in the table ``sizes``, m.
    """
    draw = _PROFILES.get(structure)
    try:
        found = draw(sizes) if draw is not None else ()
    except KeyError:
        return ()
    return tuple(s for s in found if all(map(math.isfinite, sum(s.outline, ()))) and _has_area(s))


def _has_area(solid: Solid) -> bool:
    xs, ys = zip(*solid.outline, strict=True)
    return bool(max(xs) - min(xs) > 1e-6 and max(ys) - min(ys) > 1e-6)


def crest_of(structure: str, sizes: Sizes) -> Crest | None:
    """Crest of a structure in the cross-section; None for a type that has none to show."""
    try:
        found = _crest(structure, sizes)
    except KeyError:
        return None
    if found is None or not all(map(math.isfinite, (*found.offset_m, *found.height_m))):
        return None
    return found


def _crest(structure: str, sizes: Sizes) -> Crest | None:
    if structure in ("one-rock dam", "wicker weir"):
        half, key, height = sizes["bed width"] / 2, sizes.get("key", 0.0), sizes["height"]
        end = height + sizes.get("crest dip", 0.0)
        sunk = _sunk(sizes) if structure == "one-rock dam" else 0.0
        offsets = (-half - key, -half, 0.0, half, half + key)
        return Crest(offsets, (end, end, height, end, end), sunk)
    if structure == "log mat":
        half, wing = sizes["span"] / 2, sizes.get("wing", 0.0)
        height = sizes["height"]
        return Crest((-half - wing, -half, half, half + wing), (height,) * 4, sizes.get("inset", 0))
    if structure == "rock bowl":
        half = sizes["width"] / 2
        return Crest((-half, half), (0.0, 0.0), from_lip=True)
    if structure == "rock rundown":
        half, edge = sizes["crest"] / 2, sizes.get("edge", 0.0)
        return Crest((-half, 0.0, half), (edge, 0.0, edge), from_lip=True)
    if structure == "log drop":
        half = sizes["crest"] / 2
        return Crest((-half, half), (0.0, 0.0), from_lip=True)
    if structure == "crescent spreader":
        half, height = sizes["crest"] / 2, sizes["height"]
        return Crest((-half, half), (height, height))
    return None
