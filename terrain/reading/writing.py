"""Write a grid of numbers as a cloud-optimised GeoTIFF, whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rasterio.io import MemoryFile

from terrain.reading.opening import GDAL_ERRORS, quiet_gdal
from terrain.values.errors import OutputError, ParameterError
from terrain.values.grid import Grid
from terrain.values.reading_remedies import ReadingRemedy

#: Side of a tile, cells.
BLOCK_CELLS = 512

_NO_COPY = {np.dtype(t) for t in ("uint8", "int16", "uint16", "int32", "uint32", "f4", "f8")}


def check_target(path: str | os.PathLike[str], *, overwrite: bool) -> Path:
    """Return the path of an output file after making sure that it can be written.

    Raises
    ------
    OutputError
        It exists and must not be replaced, is a folder, or its folder is missing or read-only.
    """
    target = Path(path)
    folder = target.parent
    if not folder.is_dir():
        raise OutputError(
            f"the folder {folder} does not exist",
            expected="an existing folder for the output",
            do=ReadingRemedy.MAKE_FOLDER,
        )
    if target.is_dir():
        raise OutputError(f"{target} is a folder", expected="a file name", do="name a file")
    if target.exists() and not overwrite:
        raise OutputError(
            f"{target} exists already",
            expected="a new file",
            do=ReadingRemedy.ALLOW_REPLACING,
        )
    if not os.access(folder, os.W_OK | os.X_OK):
        raise OutputError(
            f"the folder {folder} cannot be written to",
            expected="a folder with write permission",
            do="choose another folder",
        )
    return target


def write_cog(
    path: str | os.PathLike[str],
    grid: Grid,
    array: NDArray[Any],
    *,
    nodata: float | None,
    overwrite: bool = False,
    description: str = "",
    units: str = "",
    tags: Mapping[str, str] | None = None,
) -> Path:
    """Write one band as a cloud-optimised GeoTIFF: tiled, compressed, with overviews.

    The file is written beside the target under another name, synced, and then takes the target's
    place in one step: a crash leaves the old file as it was. The same input gives the same bytes.

    Parameters
    ----------
    path
        Target file.
    grid
        Where the cells lie.
    array
        Numbers, shape ``(rows, cols)``; booleans are written as 0 and 1, 64-bit integers as 32-bit.
    nodata
        Number that marks missing cells (may be NaN), or None.
    overwrite
        Whether an existing file may be replaced.
    description
        Name of the band.
    units
        Unit of the band, such as ``m``.
    tags
        Further texts kept in the file.

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    ParameterError
        The array does not fit the grid or its type cannot be written.
    OutputError
        The file cannot be written or must not be replaced.
    """
    data = _storable(array)
    if data.shape != grid.shape:
        raise ParameterError(f"an array of shape {data.shape}", expected=f"{grid.shape}")
    target = check_target(path, overwrite=overwrite)
    temporary = target.with_name(f".{target.name}.{os.getpid()}.tmp")
    try:
        # In memory first: errors of the disk then come from Python, in clear words, and GDAL's
        # worker threads have nothing to print.
        with quiet_gdal(), MemoryFile() as memory:
            with memory.open(**_profile(grid, data, nodata)) as dataset:
                dataset.write(data, 1)
                dataset.set_band_description(1, description)
                dataset.set_band_unit(1, units)
                dataset.update_tags(**dict(tags or {}))
            with open(temporary, "wb") as stream:
                stream.write(memory.getbuffer())
                stream.flush()
                os.fsync(stream.fileno())
        os.replace(temporary, target)
    except GDAL_ERRORS as error:
        raise OutputError(
            f"{target} could not be written ({_reason(error)})",
            expected="a folder with room and write permission",
            do="free some room or choose another folder; an old file is left as it was",
        ) from error
    finally:
        temporary.unlink(missing_ok=True)
    return target


def _profile(grid: Grid, data: NDArray[Any], nodata: float | None) -> dict[str, Any]:
    return {
        "driver": "COG",
        "height": grid.rows,
        "width": grid.cols,
        "count": 1,
        "dtype": data.dtype.name,
        "crs": None if grid.crs is None else grid.crs.to_wkt(),
        "transform": grid.transform,
        "nodata": nodata,
        "compress": "deflate",
        "predictor": "yes",
        "blocksize": BLOCK_CELLS,
        "bigtiff": "if_safer",
        "num_threads": "all_cpus",
        # Codes must not be averaged into codes that mean something else.
        "overview_resampling": "average" if data.dtype.kind == "f" else "nearest",
    }


def _storable(array: NDArray[Any]) -> NDArray[Any]:
    """Return the array in a type that every GIS reads."""
    data = np.asarray(array)
    if data.ndim != 2:
        raise ParameterError(f"an array with {data.ndim} dimensions", expected="two")
    if data.dtype == np.bool_:
        return data.view(np.uint8)
    if data.dtype in _NO_COPY:
        return data
    if data.dtype == np.int8:
        return data.astype(np.int16)
    if data.dtype.kind in "iu":
        low, high = int(data.min()), int(data.max())
        for small in (np.int32, np.uint32):
            limits = np.iinfo(small)
            if limits.min <= low and high <= limits.max:
                return data.astype(small)
        raise ParameterError(f"whole numbers up to {high}", expected="at most 32 bits")
    raise ParameterError(f"an array of {data.dtype}", expected="numbers that GeoTIFF can hold")


def _reason(error: BaseException) -> str:
    if isinstance(error, OSError) and error.strerror:
        return str(error.strerror).lower()
    lines = str(error).strip().splitlines()
    return lines[0].rstrip(".") if lines else type(error).__name__
