"""The shaded ground behind the map, as a picture that lies within the page."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from cli.plan.relief_layer import read_relief

Bounds = tuple[float, float, float, float]
#: Pixels on the longer side at most, and quality of the picture: about 200 kB.
MOST_PIXELS, QUALITY = 1400, 78


@dataclass(frozen=True, slots=True)
class GroundPicture:
    """Shaded ground: west, south, east and north, m, and the picture as a data address."""

    bounds: Bounds
    address: str


def relief_of_plan(path: Path) -> GroundPicture | None:
    """Shaded ground kept in a plan; nothing where the plan has none.

    Parameters
    ----------
    path
        The plan.
    """
    found = read_relief(path)
    return None if found is None else GroundPicture(found.grid.bounds, _address(found.rgb))


def relief_of_raster(paths: tuple[str, ...], bounds: Bounds, crs: Any, run: Any) -> GroundPicture:
    """Shade the ground of an elevation raster, for plans that carry no shaded ground.

    Parameters
    ----------
    paths
        The raster, or the tiles of it.
    bounds
        West, south, east and north of what is wanted, m.
    crs, run
        Coordinate system of the plan and the record of its run.

    Raises
    ------
    GullywalkError
        The raster is not the plan's, or cannot be read.
    """
    from cli.plan.relief import hillshade, relief_of
    from cli.plan.site_ground import ground_of

    raster = ground_of(paths, bounds, crs, run).raster
    relief = relief_of(raster, bounds, most_cells=MOST_PIXELS)
    return GroundPicture(relief.grid.bounds, _address(hillshade(relief)))


def _address(colours: NDArray[np.uint8]) -> str:
    """RGB or RGBA, shape ``(rows, cols, 3 or 4)``, as a WebP picture in a data address."""
    picture = Image.fromarray(np.ascontiguousarray(colours))
    picture.thumbnail((MOST_PIXELS, MOST_PIXELS))
    out = io.BytesIO()
    picture.save(out, "WEBP", quality=QUALITY, method=4)
    return "data:image/webp;base64," + base64.b64encode(out.getvalue()).decode("ascii")
