"""Roads, buildings, ponds and other things that structures keep away from, read from files.

A feature's kind is told from its words. Where they name more than one ("pond by the road") the one
with the widest usual distance counts: building, culvert, pond, road. What names none of them is
kept clear of all the same, as ``other``.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from siting.values.siting_remedies import SitingRemedy
from terrain.values.arrays import read_only
from terrain.values.grid import Grid
from terrain.values.reader_units import quantity
from terrain.vectors.features import Features, Wanted, read_features

ROAD: Final = "road"
BUILDING: Final = "building"
POND: Final = "pond"
CULVERT: Final = "culvert"
OTHER: Final = "other"
KINDS: Final = (ROAD, BUILDING, POND, CULVERT, OTHER)

#: A road is not the ranch's own where a field says so in one of these words.
_OWN_FIELDS: Final = ("ours", "own", "dips")
_PUBLIC_FIELDS: Final = ("public",)
_OWNER_FIELDS: Final = ("owner", "ownership", "jurisdiction", "access", "highway", "fclass")
_YES, _NO = frozenset({"yes", "y", "true", "t", "1"}), frozenset({"no", "n", "false", "f", "0"})
_NOT_OURS: Final = re.compile(
    r"\b(?:public|county|state|federal|municipal|city|town|township|government|not ours|"
    r"neighbou?r(?:'?s)?|easement|motorway|trunk|primary|secondary|tertiary)\b"
)
#: Words that tell a kind, widest usual distance first.
_WORDS: Final = (
    (
        BUILDING,
        "building|house|home|barn|shed|cabin|dwelling|garage|residence|headquarters|bunkhouse",
    ),
    (CULVERT, "culvert|bridge|ford|low-water crossing"),
    (POND, "pond|reservoir|lake|stock tank|tank|dam|impoundment"),
    (ROAD, "road|track|two-track|driveway|trail|lane|street|highway|residential|service|path"),
)
_TELLS: Final = tuple((kind, re.compile(rf"\b(?:{words})s?\b")) for kind, words in _WORDS)
_KIND_FIELDS: Final = ("kind", "type", "class", "feature", "category", "fclass", "highway")
_NAME_FIELDS: Final = ("name", "label", "reason", "note", "description", "desc", "title")

_ROADS: Final = Wanted(
    what="a road",
    lines=True,
    texts={
        "name": ("name", "label", "fullname", *_KIND_FIELDS),
        "ours": _OWN_FIELDS,
        "public": _PUBLIC_FIELDS,
        "owner": _OWNER_FIELDS,
    },
    layers=("road", "track", "trail", "street", "driveway"),
    name_layer=SitingRemedy.NAME_ROADS_LAYER,
)
_KEEP_CLEAR: Final = Wanted(
    what="something to keep clear of",
    lines=False,
    texts={"kind": _KIND_FIELDS, "name": _NAME_FIELDS},
    layers=("keep", "clear", "avoid"),
    name_layer=SitingRemedy.NAME_KEEP_CLEAR_LAYER,
)


@dataclass(frozen=True, slots=True, eq=False)
class KeepClear:
    """What structures keep away from, in the raster's coordinate system.

    Parameters
    ----------
    shapes
        Lines, polygons and points, m, shape ``(n,)``.
    kind
        One of `KINDS` each.
    name
        What the file calls each; empty for nothing.
    from_roads
        Whether each comes from the file of roads: then it is a line on which dips may be laid.
    notes
        Plain sentences: what was read, done and left out.
    not_ours
        Whether each is said to be public or another's: no dips are laid on such a road. None for
        all the ranch's own.
    """

    shapes: NDArray[Any]
    kind: NDArray[np.object_]
    name: NDArray[np.object_]
    from_roads: NDArray[np.bool_]
    notes: tuple[str, ...] = ()
    not_ours: NDArray[np.bool_] | None = None

    def __post_init__(self) -> None:
        for array in (self.shapes, self.kind, self.name, self.from_roads):
            read_only(array)
        if self.not_ours is not None:
            read_only(self.not_ours)

    @property
    def size(self) -> int:
        """Number of features."""
        return int(self.shapes.size)

    @property
    def roads(self) -> NDArray[Any]:
        """Lines of the roads given, which may reach beyond the raster."""
        return np.asarray(self.shapes[self.from_roads])

    @property
    def road_names(self) -> NDArray[np.object_]:
        """Name of each of them."""
        return np.asarray(self.name[self.from_roads])

    @property
    def for_dips(self) -> NDArray[np.bool_]:
        """Which features are roads on which dips may be laid: given as roads, and the ranch's."""
        if self.not_ours is None:
            return self.from_roads
        return np.asarray(self.from_roads & ~self.not_ours)


def read_keep_clear(
    roads: str | os.PathLike[str] | None,
    keep_clear: str | os.PathLike[str] | None,
    grid: Grid,
    *,
    roads_layer: str | None = None,
    keep_clear_layer: str | None = None,
) -> KeepClear:
    """Read roads and things to keep clear of; either file may be absent.

    Parameters
    ----------
    roads
        Any vector file with lines.
    keep_clear
        Any vector file with shapes of any kind.
    grid
        The raster's cells, with a coordinate system.
    roads_layer, keep_clear_layer
        Layer to take where a file has several that would do.

    Raises
    ------
    FeatureFileError
        A file that cannot be used; see `terrain.vectors.features.read_features`.
    """
    parts: list[tuple[Features, list[str], list[str], bool]] = []
    notes: list[str] = []
    not_ours: list[bool] = []
    if roads is not None:
        read = read_features(roads, grid, _ROADS, layer=roads_layer)
        names = [str(n) for n in read.texts["name"]]
        parts.append((read, [ROAD] * len(names), names, True))
        length = quantity(float(shapely.length(read.shapes).sum()) / 1000, "km")
        notes += [f"{read.name}: {length} of road on the DEM or near it.", *read.notes]
        columns = (read.texts[n] for n in ("ours", "public", "owner"))
        not_ours = [is_not_ours(*map(str, said)) for said in zip(*columns, strict=True)]
        if any(not_ours):
            others = read.shapes[np.array(not_ours)]
            others_km = quantity(float(shapely.length(others).sum()) / 1000, "km")
            notes.append(
                f"{others_km} of it are public or another's by the file: structures keep "
                "off them, and no dips are laid there."
            )
    if keep_clear is not None:
        read = read_features(keep_clear, grid, _KEEP_CLEAR, layer=keep_clear_layer)
        told = list(zip(read.texts["kind"], read.texts["name"], strict=True))
        kinds = [kind_of(k, n) for k, n in told]
        parts.append((read, kinds, [n or k for k, n in told], False))
        notes += [_kinds_note(read.name, kinds), *read.notes]
    return KeepClear(
        shapes=np.concatenate([p.shapes for p, *_ in parts]) if parts else _objects([]),
        kind=_objects([k for _, kinds, _, _ in parts for k in kinds]),
        name=_objects([n for _, _, names, _ in parts for n in names]),
        from_roads=np.array(
            [r for p, *_, r in parts for _ in range(p.shapes.size)], dtype=np.bool_
        ),
        notes=tuple(notes),
        not_ours=_with_rest(not_ours, sum(p.shapes.size for p, *_ in parts)),
    )


def is_not_ours(ours: str, public: str, owner: str) -> bool:
    """Whether a road is public or another's, by what a file says of it.

    Parameters
    ----------
    ours, public
        Yes or no, in any of the usual forms; empty where the file has no such field.
    owner
        Who owns it, or its class, in words: ``county``, ``public``, ``secondary``.
    """
    said = ours.strip().casefold()
    if said in _YES or said in _NO:
        return said in _NO
    if public.strip().casefold() in _YES:
        return True
    return _NOT_OURS.search(owner.casefold().replace("_", " ")) is not None


def _with_rest(of_roads: list[bool], count: int) -> NDArray[np.bool_] | None:
    """Truths of the roads, which come first, filled up for all features; None where all are no."""
    if not any(of_roads):
        return None
    return np.array(of_roads + [False] * (count - len(of_roads)), dtype=np.bool_)


def kind_of(*texts: str) -> str:
    """Tell a feature's kind from its words, the first text that names one first."""
    for text in texts:
        plain = text.casefold().replace("_", " ")
        for kind, pattern in _TELLS:
            if pattern.search(plain):
                return kind
    return OTHER


def _kinds_note(name: str, kinds: list[str]) -> str:
    """Say how the features were understood, so that a person can see a wrong guess."""
    counts = ", ".join(f"{kinds.count(k)} {k}" for k in KINDS if k in kinds)
    return f"{name}: features to keep clear of, by kind: {counts}."


def _objects(values: list[str]) -> NDArray[np.object_]:
    out = np.empty(len(values), dtype=object)
    out[:] = values
    return out
