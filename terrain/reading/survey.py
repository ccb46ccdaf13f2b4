"""What a DEM is before it is read: headers and a sparse sample, the working grid, and warnings."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass

from pyproj import CRS

from terrain.reading.crs import (
    AREA_STRETCH_LIMIT,
    area_stretch,
    horizontal_part,
    is_usable,
    linear_factor,
    parse_crs,
    place_of,
    same_crs,
    short_name,
    vertical_axis_unit,
)
from terrain.reading.mosaic import Mosaic, build_mosaic
from terrain.reading.opening import FileFacts, facts_of
from terrain.reading.projecting import Projection, plan_projection, rescale_to_metres
from terrain.reading.sampling import Sample, take_sample
from terrain.values.errors import CrsError, ParameterError, RasterReadError, VerticalUnitError
from terrain.values.grid import Grid
from terrain.values.reader_units import between, exactly
from terrain.values.reading_remedies import GIVEN_CRS, ReadingRemedy
from terrain.values.units import (
    METRES_PER,
    HeightFacts,
    StatedUnits,
    check_unit,
    settle_vertical_unit,
)

PathLike = str | os.PathLike[str]

#: Above this cell size channels cannot be measured nor headcuts seen, m.
COARSE_CELL_M = 5.0

#: Cells across a channel needed to measure its width, and to see it (common practice).
CELLS_TO_MEASURE = (3, 5)


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What a person may say about a DEM.

    Parameters
    ----------
    crs
        Coordinate system to use instead of the file's own: ``EPSG:..`` or WKT.
    vertical_unit
        ``m``, ``ft`` or ``us-ft``; wins over what the file says.
    nodata
        Number that marks cells without ground, besides what the file declares.
    cell_m
        Cell size for a DEM that has to be projected, m; by default the size of its own cells.

    Raises
    ------
    ParameterError
        A unit that is not known, or a cell size out of range.
    """

    crs: str | None = None
    vertical_unit: str | None = None
    nodata: float | None = None
    cell_m: float | None = None

    def __post_init__(self) -> None:
        if self.vertical_unit is not None:
            check_unit(self.vertical_unit)
        if self.cell_m is not None and not 0 < self.cell_m < 1e5:
            raise ParameterError(f"cell size {self.cell_m:g} m", expected="above 0")


@dataclass(frozen=True, slots=True)
class DemSurvey:
    """What one or many raster files are, together, and what will be done with them.

    Parameters
    ----------
    files
        Facts of each file, in the order given.
    source_crs
        Flat coordinate system of the files, or the one given instead.
    mosaic
        The files' common grid in their own units.
    grid
        The working grid: projected, metres, north-up.
    projection
        How the mosaic becomes the working grid when cells have to be resampled, else None.
    vertical_unit
        ``m``, ``ft`` or ``us-ft``: the unit of the heights in the files.
    place
        Longitude and latitude of the middle, degrees, where known.
    sample
        A sparse look at the numbers, in the files' unit.
    notes
        Plain sentences: what will be done and what the DEM can show.
    problems
        Plain sentences: what may go wrong.
    """

    files: tuple[FileFacts, ...]
    source_crs: CRS
    mosaic: Mosaic
    grid: Grid
    projection: Projection | None
    vertical_unit: str
    place: tuple[float, float] | None
    sample: Sample
    notes: tuple[str, ...]
    problems: tuple[str, ...]

    @property
    def metres_per_number(self) -> float:
        """Metres in one unit of the files' heights."""
        return METRES_PER[self.vertical_unit]


def as_paths(paths: PathLike | Sequence[PathLike]) -> tuple[str, ...]:
    """Return one or many paths as a tuple of text, refusing none and repeats.

    Raises
    ------
    ParameterError
        No path, or the same one twice.
    """
    many = [paths] if isinstance(paths, str | os.PathLike) else list(paths)
    texts = tuple(os.fspath(p) for p in many)
    if not texts:
        raise ParameterError("no raster given", expected="at least one")
    seen: set[str] = set()
    for text in texts:
        if text in seen:
            raise ParameterError(f"{text} is given twice", expected="each tile once")
        seen.add(text)
    return texts


def survey_dem(
    paths: PathLike | Sequence[PathLike], options: ReadOptions | None = None
) -> DemSurvey:
    """Look at headers and a sparse sample, and plan the reading.

    Parameters
    ----------
    paths
        One raster or the tiles of one.
    options
        What is known better than the files say.

    Returns
    -------
    DemSurvey

    Raises
    ------
    RasterReadError
        Missing, not an elevation raster, rotated, damaged or too small.
    CrsError
        No usable coordinate system, or one that contradicts the numbers.
    GridMismatchError
        The tiles do not share one grid.
    VerticalUnitError
        The unit of the heights is unknown or not believable.
    """
    options = ReadOptions() if options is None else options
    files = tuple(facts_of(p) for p in as_paths(paths))
    systems, crs_unit, notes = _settle_crs(files, options)
    mosaic = build_mosaic(files, systems)
    crs = systems[0]
    _check_numbers_fit(crs, mosaic, files[0].name)
    place = place_of(crs, *mosaic.centre)
    problems: list[str] = []
    stretch = 0.0 if crs.is_geographic else area_stretch(crs, place)
    if crs.is_geographic or abs(stretch) > AREA_STRETCH_LIMIT:
        projection, grid = plan_projection(mosaic, crs, place, options.cell_m)
        notes.append(projection.sentence(crs, stretch))
    else:
        projection = None
        grid, scaled = rescale_to_metres(mosaic, crs)
        notes.extend(scaled)
        if options.cell_m is not None:
            notes.append("The DEM is already in metres; the cell size asked for is not used.")
    if place is None and not crs.is_geographic:
        problems.append(
            f"Its corners do not lie where {crs.name} is used: places on the map will be wrong."
        )
    sample = take_sample(files, options.nodata, grid.cell_m)
    unit, said = _settle_unit(files, options, crs_unit, crs, sample, place)
    notes.extend(said)
    notes.extend(_file_notes(files))
    notes.extend(resolution_notes(grid.cell_m, files))
    problems.extend(_file_problems(files, mosaic, sample))
    return DemSurvey(
        files,
        crs,
        mosaic,
        grid,
        projection,
        unit,
        place,
        sample,
        tuple(notes),
        tuple(problems),
    )


def _settle_crs(
    files: Sequence[FileFacts], options: ReadOptions
) -> tuple[list[CRS], str | None, list[str]]:
    """Choose the flat coordinate system of each file, and the unit of its height axis."""
    for facts in files:
        if not facts.has_place:
            raise RasterReadError(
                f"{facts.name} gives no position and no cell size",
                expected="a georeferenced raster",
                do="export it again with its georeference, or add a world file",
            )
    notes: list[str] = []
    if options.crs is not None:
        given = parse_crs(options.crs, what=GIVEN_CRS)
        if not is_usable(given):
            raise CrsError(
                f"{GIVEN_CRS} '{given.name}' does not place anything on the Earth",
                expected="a geographic or projected coordinate system",
                do=ReadingRemedy.GIVE_CRS,
            )
        flat = horizontal_part(given)
        notes.extend(
            f"{facts.name} says it is in {short_name(facts.crs)}; "
            f"taken as {short_name(flat)}, as asked."
            for facts in files
            if facts.crs is not None and is_usable(facts.crs) and not same_crs(facts.crs, flat)
        )
        return [flat] * len(files), vertical_axis_unit(given), notes
    systems: list[CRS] = []
    for facts in files:
        if facts.crs is None:
            raise CrsError(
                f"{facts.name} has no coordinate system",
                expected="one",
                do=ReadingRemedy.GIVE_CRS,
            )
        if not is_usable(facts.crs):
            raise CrsError(
                f"{facts.name} has the coordinate system '{facts.crs_name}', "
                "which does not place it on the Earth",
                expected="a geographic or projected one",
                do=ReadingRemedy.GIVE_CRS,
            )
        systems.append(facts.crs)
    return systems, None, notes


def _check_numbers_fit(crs: CRS, mosaic: Mosaic, name: str) -> None:
    """Refuse degrees that are metres and metres that are degrees."""
    west, south, east, north = mosaic.bounds
    if crs.is_geographic:
        if west < -360.5 or east > 360.5 or south < -90.5 or north > 90.5:
            raise CrsError(
                f"{name}: '{crs.name}' is in degrees, but the corners are at "
                f"({west:.6g}, {south:.6g}) and ({east:.6g}, {north:.6g})",
                expected="longitudes and latitudes",
                do=ReadingRemedy.GIVE_CRS,
            )
        return
    small_cell = mosaic.transform.a < 0.02
    if small_cell and max(abs(west), abs(east)) <= 360 and max(abs(south), abs(north)) <= 90:
        raise CrsError(
            f"{name}: '{crs.name}' is in {crs.axis_info[0].unit_name}s, but the corners "
            f"({west:.6g}, {south:.6g}) and cells of {mosaic.transform.a:.3g} look like degrees",
            expected="one or the other",
            do=ReadingRemedy.GIVE_CRS_IN_DEGREES,
        )


def _settle_unit(
    files: Sequence[FileFacts],
    options: ReadOptions,
    option_crs_unit: str | None,
    crs: CRS,
    sample: Sample,
    place: tuple[float, float] | None,
) -> tuple[str, tuple[str, ...]]:
    """Choose the vertical unit of all files."""
    first = files[0]
    if options.vertical_unit is None:
        for facts in files:
            band = facts.band_vertical_unit
            if band is not None and band not in METRES_PER:
                raise VerticalUnitError(
                    f"{facts.name} has heights in '{band}'",
                    expected="metres or feet",
                    do=ReadingRemedy.METRES_OR_VERTICAL_UNIT,
                )
        units = {
            (f.crs_vertical_unit if options.crs is None else None, f.band_vertical_unit)
            for f in files
        }
        if len(units) > 1:
            raise VerticalUnitError(
                "the tiles do not say the same unit for their heights",
                expected="one unit",
                do=ReadingRemedy.GIVE_VERTICAL_UNIT,
            )
    stated = StatedUnits(
        option=options.vertical_unit,
        crs=option_crs_unit or first.crs_vertical_unit,
        band=first.band_vertical_unit,
        horizontal_feet=not crs.is_geographic and linear_factor(crs) != 1.0,
    )
    high = sample.high if sample.high is not None else 0.0
    return settle_vertical_unit(
        stated, HeightFacts(high, sample.median_slope, place), name=first.name
    )


def resolution_notes(cell_m: float, files: Sequence[FileFacts]) -> list[str]:
    """Say what the cell size and the number type can show."""
    notes = []
    low, high = (n * cell_m for n in CELLS_TO_MEASURE)
    if cell_m > COARSE_CELL_M:
        notes.append(
            f"Cells of {exactly(cell_m, 'm')}: drainage areas and valley slopes can be trusted, "
            "but channels cannot be measured and headcuts cannot be seen; a 1 m DEM shows both."
        )
    elif cell_m > 1.5:
        notes.append(
            f"Cells of {exactly(cell_m, 'm')}: a channel must be about {between(low, high, 'm')} "
            "wide for its width to be measured; narrower ones are only seen."
        )
    if any(f.is_integer for f in files):
        notes.append(
            "Heights come in whole numbers: steps of one unit hide headcuts and bend slopes."
        )
    return notes


def _file_notes(files: Sequence[FileFacts]) -> list[str]:
    notes = []
    if len(files) > 1:
        notes.append(f"{len(files)} tiles are read as one mosaic.")
    flipped = [f.name for f in files if f.flipped]
    if flipped:
        notes.append(
            f"{flipped[0]} has its rows from south to north; turned north-up. "
            "If the map then looks mirrored, the file's header is wrong."
            if len(flipped) == 1
            else f"{len(flipped)} tiles have their rows from south to north; turned north-up."
        )
    many = [f for f in files if f.bands > 1]
    if many:
        notes.append(f"{many[0].name} has {many[0].bands} bands; the first is taken as heights.")
    scaled = [f for f in files if f.scale != 1.0 or f.offset != 0.0]
    if scaled:
        f = scaled[0]
        notes.append(f"Numbers are scaled as {f.name} says: times {f.scale:g} plus {f.offset:g}.")
    return notes


def _file_problems(files: Sequence[FileFacts], mosaic: Mosaic, sample: Sample) -> list[str]:
    problems = []
    first = files[0]
    if first.dtype == "uint8":
        problems.append(
            f"{first.name} holds whole numbers from 0 to 255: is it a hillshade, not heights?"
        )
    if mosaic.covered_share < 0.5:
        problems.append(
            f"The tiles cover only {mosaic.covered_share * 100:.0f} % of the rectangle around "
            "them; the rest counts as missing ground."
        )
    if sample.zero_share > 0.005:
        problems.append(
            "Some of the cells looked at are exactly 0; where they form a block with a cliff "
            "around it, they are taken as missing ground."
        )
    if sample.void_share > 0.3:
        problems.append("A good part of the cells looked at hold no ground.")
    return problems
