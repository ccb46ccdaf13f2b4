"""The long profile of a channel with its structures, drawn to scale; downstream to the left."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from cli import palette
from cli.figures.sketch import Frame, Note, Sketch
from cli.plan.fields import Units
from terrain.values.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class ProfileStructure:
    """One structure in a profile.

    Parameters
    ----------
    label
        Words that stand beside it, with its sizes in the units of the figure; several lines; empty
        for a further piece of one that has its words already.
    control
        ``vertical``, ``grade``, ``spread`` or ``refer``: its colour.
    station_m
        Stations of its outline, m; the outline is closed by itself.
    elevation_m
        Elevations of its outline, m, same shape.
    is_body
        Whether it is the body, not an apron or another part.
    """

    label: str
    control: str
    station_m: FloatArray
    elevation_m: FloatArray
    is_body: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """A surface over a stretch of the profile: water or sediment; stations increasing, m."""

    station_m: FloatArray
    elevation_m: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class LongProfile:
    """Everything that a profile shows; SI.

    Parameters
    ----------
    station_m
        Metres up the channel from its lower end, increasing, shape ``(n,)``.
    bed_m
        Elevation of the bed as measured, same shape.
    structures
        Structures on it.
    water
        Water at the design flood; None where it is not known.
    pools, wedges
        Still pools, and tops of the sediment that fills in.
    headcuts
        Station, lip and foot elevation of each headcut, m.
    flood_words
        Which flood the water is, such as ``10-year flood, 0.42 m3/s``; in the figure's units.
    name_levels
        Whether pools and wedges get words in the drawing.
    as_box
        Whether the site's own structure is the box of its footprint, since its type does not say
        how it looks from the side.
    error_m
        Vertical error of the bed; NaN where not known.
    """

    station_m: FloatArray
    bed_m: FloatArray
    structures: tuple[ProfileStructure, ...] = ()
    water: Level | None = None
    pools: tuple[Level, ...] = ()
    wedges: tuple[Level, ...] = ()
    headcuts: tuple[tuple[float, float, float], ...] = ()
    flood_words: str = "design flood"
    name_levels: bool = True
    as_box: bool = False
    error_m: float = math.nan


def profile_sketch(
    profile: LongProfile, *, units: Units = "si", frame: Frame | None = None
) -> Sketch:
    """Draw a long profile with bare axes; the caller labels them.

    Parameters
    ----------
    profile
        What to draw, SI.
    units
        Units of the axes.
    frame
        How large the drawing is.
    """
    levels = [*profile.pools, *profile.wedges]
    if profile.water is not None:
        levels.append(profile.water)
    heights = np.concatenate(
        [
            profile.bed_m,
            *(level.elevation_m for level in levels),
            *(s.elevation_m for s in profile.structures),
        ]
    )
    sketch = Sketch(
        (float(profile.station_m[0]), float(profile.station_m[-1])),
        (float(np.nanmin(heights)), float(np.nanmax(heights))),
        units,
        frame=frame,
    )
    notes = []
    for level in profile.wedges:
        sketch.area(level.station_m, _bed_at(profile, level), level.elevation_m, palette.OCHRE)
    for level in profile.pools:
        sketch.area(level.station_m, _bed_at(profile, level), level.elevation_m, palette.CHANNEL)
        sketch.line(level.station_m, level.elevation_m, palette.CHANNEL, dashed=True)
    sketch.ground(profile.station_m, profile.bed_m)
    if profile.water is not None:
        sketch.line(profile.water.station_m, profile.water.elevation_m, palette.CHANNEL)
    for structure in profile.structures:
        colour = palette.site_symbol(structure.control).colour
        sketch.body(structure.station_m, structure.elevation_m, colour)
        top = float(structure.elevation_m.max())
        crest = structure.station_m[structure.elevation_m > top - 0.01]
        if structure.label:
            notes.append(Note(structure.label, float(crest.mean()), top))
    notes += _further_notes(profile)
    for station, lip, foot in profile.headcuts:
        sketch.line(np.array([station, station]), np.array([foot, lip]), palette.HEADCUT)
        notes.append(Note("headcut", station, lip))
    sketch.notes(notes)
    return sketch


def _further_notes(profile: LongProfile) -> list[Note]:
    """Words for the water and for the first pool and wedge; the others look alike."""
    notes = []
    for words, levels in (
        ("still pool", profile.pools),
        ("sediment that fills in", profile.wedges),
    ):
        if levels and profile.name_levels:
            notes.append(_note(words, levels[0], 0.5))
    if profile.water is not None:
        notes.append(_note(f"water at the {profile.flood_words}", profile.water, 0.8))
    return notes


def _note(words: str, level: Level, share: float) -> Note:
    """Words at a share of a surface's length."""
    first, last = float(level.station_m[0]), float(level.station_m[-1])
    x = first + share * (last - first)
    return Note(words, x, float(np.interp(x, level.station_m, level.elevation_m)))


def _bed_at(profile: LongProfile, level: Level) -> FloatArray:
    return np.interp(level.station_m, profile.station_m, profile.bed_m)
