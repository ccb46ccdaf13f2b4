"""A cross-section with a structure in it, drawn to scale; looking downstream."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from cli import palette
from cli.figures.sketch import Frame, Note, Sketch
from cli.plan.fields import Units
from terrain.values.arrays import FloatArray


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
    crest_offset_m, crest_m
        Crest of the structure from left to right, m; empty where none is drawn. It is filled down
        to the ground, and to ``base_m`` where it is keyed into the banks.
    base_m
        Elevation down to which the structure reaches into the bed; NaN for the ground itself.
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
    """

    offset_m: FloatArray
    ground_m: FloatArray
    control: str = "grade"
    crest_offset_m: FloatArray | tuple[()] = ()
    crest_m: FloatArray | tuple[()] = ()
    base_m: float = math.nan
    label: str = ""
    bank_tops: tuple[tuple[float, float], ...] = ()
    bankfull_m: float = math.nan
    water_m: float = math.nan
    flood_words: str = "design flood"


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
    crest_x, crest = np.asarray(section.crest_offset_m), np.asarray(section.crest_m)
    levels = [v for v in (section.bankfull_m, section.water_m, section.base_m) if math.isfinite(v)]
    heights = np.concatenate([ground, crest, levels])
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
        sketch.line(np.array([left, right]), level[:2], palette.CHANNEL)
        notes.append(
            Note(
                f"water at the {section.flood_words}",
                left + 0.85 * (right - left),
                section.water_m,
            )
        )
    sketch.ground(x, ground)
    if crest.size:
        colour = palette.site_symbol(section.control).colour
        outline = _outline(section, crest_x, crest)
        sketch.body(*outline, colour)
        middle = crest_x.size // 2
        at = (float(crest_x[middle]), float(crest[middle]))
        notes.insert(0, Note(section.label, *at))
    if math.isfinite(section.bankfull_m):
        left, right = _wetted(x, ground, section.bankfull_m)
        sketch.line(
            np.array([left, right]), np.full(2, section.bankfull_m), palette.INK, dashed=True
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


def _outline(
    section: SectionDrawing, crest_x: FloatArray, crest: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Crest from left to right, and back along the ground or along the base below it."""
    back = np.linspace(crest_x[-1], crest_x[0], 200)
    ground = np.interp(back, section.offset_m, section.ground_m)
    under = ground if math.isnan(section.base_m) else np.minimum(ground, section.base_m)
    top = np.interp(back, crest_x, crest)
    # Where the crest lies within the bank it is keyed in: the key has no thickness to show.
    return np.append(crest_x, back), np.append(crest, np.minimum(under, top))
