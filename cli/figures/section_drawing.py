"""A cross-section with a structure in it, drawn to scale; looking downstream."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from cli import palette
from cli.figures.outlines_on_ground import Piece, top_at
from cli.figures.sketch import Frame, Note, Sketch
from cli.plan.fields import Units
from terrain.values.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class SectionStructure:
    """A part of the structure in a section: offsets and elevations of its outline, m."""

    offset_m: FloatArray
    elevation_m: FloatArray
    is_body: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class SectionDrawing:
    """Everything that a section shows; SI.

    Parameters
    ----------
    offset_m
        Metres from the middle of the channel, to the right when looking downstream, increasing.
    ground_m
        Elevation of the ground, same shape.
    control
        Colour of the structure.
    structures
        Parts of the structure, the body first; empty where none is drawn.
    label
        Words beside the structure with its sizes, in the figure's units.
    bank_tops
        Offset and elevation of the bank tops, left and right.
    bankfull_m
        Elevation of bankfull; NaN where not known.
    water_m
        Elevation of the water at the design flood; NaN where not known.
    flood_words
        Which flood that is, in the figure's units.
    as_box
        Whether the structure is the box of its footprint, since its type does not say how it looks
        across.
    from_curve
        Whether the ground is a made-up channel from a regional curve.
    on_road
        Whether it is the ground across a road.
    """

    offset_m: FloatArray
    ground_m: FloatArray
    control: str = "grade"
    structures: tuple[SectionStructure, ...] = ()
    label: str = ""
    bank_tops: tuple[tuple[float, float], ...] = ()
    bankfull_m: float = math.nan
    water_m: float = math.nan
    flood_words: str = "design flood"
    as_box: bool = False
    from_curve: bool = False
    on_road: bool = False


def section_sketch(
    section: SectionDrawing, *, units: Units = "si", frame: Frame | None = None
) -> Sketch:
    """Draw a cross-section with bare axes; the caller labels them.

    Parameters
    ----------
    section
        What to draw, SI.
    units
        Units of the axes.
    frame
        How large the drawing is.
    """
    x, ground = np.asarray(section.offset_m), np.asarray(section.ground_m)
    levels = [v for v in (section.bankfull_m, section.water_m) if math.isfinite(v)]
    heights = np.concatenate([ground, levels, *(s.elevation_m for s in section.structures)])
    sketch = Sketch(
        (float(x[0]), float(x[-1])),
        (float(np.nanmin(heights)), float(np.nanmax(heights))),
        units,
        frame=frame,
    )
    notes = []
    if math.isfinite(section.water_m):
        left, right = _wetted(x, ground, section.water_m)
        inside = np.linspace(left, right, 200)
        level = np.full(inside.shape, section.water_m)
        sketch.area(inside, np.interp(inside, x, ground), level, palette.CHANNEL)
        sketch.line(np.array([left, right]), level[:2], palette.CHANNEL, before=True)
        notes.append(
            Note(
                f"water at the {section.flood_words}",
                left + 0.85 * (right - left),
                section.water_m,
            )
        )
    sketch.ground(x, ground)
    colour = palette.site_symbol(section.control).colour
    for part in section.structures:
        sketch.body(part.offset_m, part.elevation_m, colour)
    if section.structures:
        notes.insert(0, Note(section.label, *label_place(section.structures[0])))
    if math.isfinite(section.bankfull_m):
        left, right = _wetted(x, ground, section.bankfull_m)
        sketch.line(
            np.array([left, right]),
            np.full(2, section.bankfull_m),
            palette.INK,
            dashed=True,
            before=True,
        )
        notes.append(Note("bankfull", left + 0.12 * (right - left), section.bankfull_m))
    notes += [Note("bank top", offset, height) for offset, height in section.bank_tops]
    sketch.notes(notes)
    return sketch


def _wetted(x: FloatArray, ground: FloatArray, level: float) -> tuple[float, float]:
    """Offsets at which a level meets the ground on either side of the lowest point."""
    low = int(np.nanargmin(ground))
    ends = []
    for order in (range(low, -1, -1), range(low, len(x))):
        cells = list(order)
        end = float(x[cells[-1]])
        for a, b in pairwise(cells):
            if ground[b] >= level:
                share = (level - ground[a]) / max(ground[b] - ground[a], 1e-12)
                end = float(x[a] + share * (x[b] - x[a]))
                break
        ends.append(end)
    return ends[0], ends[1]


def label_place(part: SectionStructure) -> tuple[float, float]:
    """Offset and elevation that words about a part point to: the middle of its upper edge."""
    middle = float(part.offset_m.min() + part.offset_m.max()) / 2
    piece = Piece("", True, False, part.offset_m, part.elevation_m)
    return middle, float(top_at(piece, np.array([middle]))[0])
