"""Open raster files quietly and state the facts of each; GDAL's own talk never reaches a person."""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from pyproj.exceptions import CRSError as PyprojCrsError
from rasterio._err import CPLE_BaseError
from rasterio.enums import ColorInterp, MaskFlags
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.windows import Window

from terrain.reading.crs import as_published, horizontal_part, vertical_axis_unit
from terrain.reading.nodata import as_float32
from terrain.values.errors import RasterReadError
from terrain.values.units import unit_from_name

#: What GDAL may keep of decoded blocks; each block is read once, so more only costs memory.
_CACHE_BYTES = 16 * 2**20

#: Everything that rasterio raises when a file is bad; GDAL's own errors are not all wrapped.
GDAL_ERRORS = (RasterioError, CPLE_BaseError, OSError)

_PICTURE_BANDS = {ColorInterp.red, ColorInterp.green, ColorInterp.blue, ColorInterp.palette}


@contextmanager
def quiet_gdal(cache_bytes: int = _CACHE_BYTES) -> Iterator[None]:
    """Set GDAL up for fast reading and keep its warnings away from the console."""
    with (
        warnings.catch_warnings(),
        rasterio.Env(
            GDAL_NUM_THREADS="ALL_CPUS",
            GDAL_CACHEMAX=max(cache_bytes, _CACHE_BYTES),
            GTIFF_REPORT_COMPD_CS=True,
            RAW_CHECK_FILE_SIZE=True,
        ),
    ):
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        yield


@dataclass(frozen=True, slots=True)
class FileFacts:
    """What one raster file says about itself.

    ``transform`` is in the file's own units and already north-up; ``flipped`` tells that the rows
    run from south to north in the file. ``crs`` is the flat part only.
    """

    path: str
    driver: str
    size_bytes: int
    dtype: str
    rows: int
    cols: int
    bands: int
    transform: Affine
    flipped: bool
    crs: CRS | None
    crs_name: str
    nodata: float | None
    has_mask: bool
    crs_vertical_unit: str | None
    band_vertical_unit: str | None
    scale: float
    offset: float
    block_rows: int

    @property
    def name(self) -> str:
        """File name without its folder."""
        return Path(self.path).name

    @property
    def is_integer(self) -> bool:
        """Whether heights come in whole numbers."""
        return "int" in self.dtype and float(self.scale).is_integer()

    def scaled(self, z: NDArray[np.float32]) -> tuple[NDArray[np.float32], float | None]:
        """Scale stored numbers in place as the file says; return them and its void number."""
        nodata = None if self.nodata is None else as_float32(self.nodata)
        if self.scale != 1.0 or self.offset != 0.0:
            z *= np.float32(self.scale)
            z += np.float32(self.offset)
            if nodata is not None:
                # In the same steps, so that it stays equal to the cells it marks.
                nodata = nodata * np.float32(self.scale) + np.float32(self.offset)
        return z, None if nodata is None else float(nodata)

    @property
    def has_place(self) -> bool:
        """Whether the file gives a position and a cell size at all."""
        return self.transform != Affine(1, 0, 0, 0, -1, self.rows)


def damaged(facts: FileFacts, window: Window) -> RasterReadError:
    """Build the error for rows that cannot be read."""
    first = int(window.row_off)
    return RasterReadError(
        f"{facts.name} is damaged or cut short "
        f"(rows {first + 1:,} to {first + int(window.height):,} cannot be read)",
        expected="a whole file",
        do="copy or download it again",
    )


@contextmanager
def open_dataset(path: str, *, cache_bytes: int = _CACHE_BYTES) -> Iterator[Any]:
    """Open a raster inside :func:`quiet_gdal`.

    Parameters
    ----------
    path
        The file, or a name that GDAL understands.
    cache_bytes
        Room for decoded blocks; with less than one row of blocks some formats decode each block
        once a line.

    Raises
    ------
    RasterReadError
        The file is missing, or is not a raster.
    """
    local = "://" not in path and not path.startswith("/vsi") and ":" not in path[2:]
    if local and not os.path.exists(path):
        raise RasterReadError(
            f"no file {path}", expected="an elevation raster", do="check the path"
        )
    with quiet_gdal(cache_bytes):
        try:
            dataset = rasterio.open(_gdal_name(path))
        except (*GDAL_ERRORS, ValueError) as error:
            raise RasterReadError(
                f"{Path(path).name} cannot be opened as a raster ({_first_line(error, path)})",
                expected="an elevation raster such as a GeoTIFF",
                do="check that the file is whole and is a DEM",
            ) from error
        with dataset:
            yield dataset


def _gdal_name(path: str) -> str:
    """Look inside a zip file that holds one raster."""
    if path.lower().endswith(".zip") and "://" not in path and not path.startswith("/vsi"):
        return f"/vsizip/{os.path.abspath(path)}"
    return path


def _first_line(error: BaseException, path: str) -> str:
    text = str(error).strip().splitlines()
    line = text[0] if text else type(error).__name__
    return line.replace(path, Path(path).name).rstrip(".")


def facts_of(path: str) -> FileFacts:
    """Read a raster's header.

    Raises
    ------
    RasterReadError
        Missing, not a raster, a picture, rotated, or too small.
    CrsError
        Its coordinate system has heights in an unknown unit.
    """
    with open_dataset(path) as dataset:
        name = Path(path).name
        _refuse_pictures(dataset, name)
        transform, flipped = _north_up(dataset, name)
        crs = _crs_of(dataset)
        flags = dataset.mask_flag_enums[0]
        has_mask = MaskFlags.per_dataset in flags or MaskFlags.alpha in flags
        return FileFacts(
            path=path,
            driver=dataset.driver,
            size_bytes=_size_of(path),
            dtype=dataset.dtypes[0],
            rows=dataset.height,
            cols=dataset.width,
            bands=dataset.count,
            transform=transform,
            flipped=flipped,
            crs=None if crs is None else as_published(horizontal_part(crs)),
            crs_name="" if crs is None else str(crs.name),
            nodata=dataset.nodatavals[0],
            has_mask=has_mask,
            crs_vertical_unit=None if crs is None else vertical_axis_unit(crs),
            band_vertical_unit=_band_unit(dataset, name),
            scale=float(dataset.scales[0]),
            offset=float(dataset.offsets[0]),
            block_rows=int(dataset.block_shapes[0][0]),
        )


def _refuse_pictures(dataset: Any, name: str) -> None:
    if dataset.count == 0:
        raise RasterReadError(
            f"{name} holds no band of its own, only {len(dataset.subdatasets)} parts",
            expected="one elevation band",
            do="name the part that holds the elevations",
        )
    if any(c in _PICTURE_BANDS for c in dataset.colorinterp):
        raise RasterReadError(
            f"{name} is a picture (colour bands), not elevations",
            expected="one band of heights",
            do="use the DEM itself, not a hillshade or a map image",
        )
    if dataset.dtypes[0].startswith("complex"):
        raise RasterReadError(
            f"{name} holds complex numbers", expected="one band of heights", do="use a DEM"
        )
    if dataset.width < 3 or dataset.height < 3:
        size = f"{dataset.width} x {dataset.height}"
        what = "one cell" if dataset.width * dataset.height == 1 else f"{size} cells"
        raise RasterReadError(
            f"{name} has only {what}",
            expected="at least 3 x 3",
            do="use a DEM that covers the ground",
        )


def _north_up(dataset: Any, name: str) -> tuple[Affine, bool]:
    """Return the transform with rows running south, and whether the file's rows run north."""
    t = dataset.transform
    rows, cols = dataset.height, dataset.width
    # Rounding in a header may leave a rotation that moves nothing by a hundredth of a cell.
    tilt = max(abs(t.b) * rows / max(abs(t.a), 1e-300), abs(t.d) * cols / max(abs(t.e), 1e-300))
    if t.a == 0 or t.e == 0 or tilt > 0.01:
        raise RasterReadError(
            f"{name} is rotated: its rows do not run from west to east",
            expected="a north-up raster",
            do="warp it to north-up first, with gdalwarp for instance",
        )
    if t.a < 0:
        raise RasterReadError(
            f"{name} has columns that run from east to west",
            expected="a north-up raster",
            do="warp it to north-up first, with gdalwarp for instance",
        )
    if t.e < 0:
        return Affine(t.a, 0, t.c, 0, t.e, t.f), False
    return Affine(t.a, 0, t.c, 0, -t.e, t.f + rows * t.e), True


def _crs_of(dataset: Any) -> CRS | None:
    if not dataset.crs:
        return None
    try:
        return CRS.from_user_input(dataset.crs.to_wkt(version="WKT2_2019"))
    except (PyprojCrsError, RasterioError):
        try:
            return CRS.from_user_input(dataset.crs.to_wkt())
        except (PyprojCrsError, RasterioError):
            return None


def _band_unit(dataset: Any, name: str) -> str | None:
    text = dataset.units[0]
    if not text:
        return None
    unit = unit_from_name(text)
    if unit is None and text.strip().lower() not in ("unknown", "none", "-"):
        # Kept as it stands: the survey refuses it unless the option settles it.
        return str(text)
    return unit


def _size_of(path: str) -> int:
    try:
        return os.path.getsize(path)
    except OSError:
        return 0
