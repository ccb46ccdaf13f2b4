"""The still pool behind a low structure, as a lower bound: a structure of stone leaks.

The water stands level with the crest, from the structure up to where the bed rises through that
level, as wide as the ground's sections at each place. Arms of the pool into side channels are left
out. Plain geometry on the measured ground; no published source is needed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from siting.effects.channel_above import ChannelAbove, Filled, fill
from terrain.values.errors import ParameterError


@dataclass(frozen=True, slots=True, eq=False)
class Pool:
    """Water that stands behind a structure.

    Parameters
    ----------
    level_m
        Level of the water: bed at the structure and height of the crest.
    length_m, area_m2, volume_m3
        Along the bed, seen from above, and of the water.
    depth_at_crest_m
        Depth just above the structure.
    toe_depth_m, toe_error_m
        Depth at the foot of the drop above and its standard error. Below 0: by so much the level
        is too low to reach the foot. NaN where no foot was asked for.
    ends_at
        ``bed`` where the bed rises through the level; ``foot`` or ``headcut`` where a drop ends
        the pool; ``edge`` or ``length`` where it was followed no further.
    outline
        Polygon to scale; None for a pool without extent or place.
    """

    level_m: float
    length_m: float
    area_m2: float
    volume_m3: float
    depth_at_crest_m: float
    toe_depth_m: float
    toe_error_m: float
    ends_at: str
    outline: Any


def pool_in(above: ChannelAbove, *, crest_height_m: float) -> Pool:
    """Still pool behind a crest at the lower end of a channel.

    Parameters
    ----------
    above
        Channel above the structure; the foot of a drop or a headcut may end it.
    crest_height_m
        Height of the crest above the bed there.

    Raises
    ------
    ParameterError
        A crest of 0 or less.
    """
    if not 0 < crest_height_m < np.inf:
        raise ParameterError(f"a crest of {crest_height_m:g} m", expected="above 0")
    level = float(above.bed_m[0]) + crest_height_m
    filled = fill(above, level)
    toe, error = toe_depth_m(above, level)
    return Pool(
        level_m=level,
        length_m=filled.length_m,
        area_m2=filled.area_m2,
        volume_m3=filled.volume_m3,
        depth_at_crest_m=crest_height_m,
        toe_depth_m=toe,
        toe_error_m=error,
        ends_at="bed" if filled.meets_bed else above.ends_at,
        outline=outline_of(above, filled),
    )


def toe_depth_m(above: ChannelAbove, level_m: float) -> tuple[float, float]:
    """Depth of still water at the foot that ends a channel, and its error, m; NaN without a foot.

    Where the bed in between rises above the level, the depth is that of the level below the rise:
    a number below 0.
    """
    if above.ends_at != "foot":
        return float("nan"), float("nan")
    highest = int(np.argmax(above.bed_m))
    at = above.size - 1 if level_m > above.bed_m[highest] else highest
    error = float(np.hypot(above.error_m[0], above.error_m[at]))
    return level_m - float(above.bed_m[at]), error


def outline_of(above: ChannelAbove, filled: Filled) -> Any:
    """Outline of a fill on the map: a polygon to scale, or None where there is none.

    Where sections cross in a sharp bend, the doubled ground is counted once.
    """
    if filled.length_m <= 0 or not np.isfinite(above.x_m).all():
        return None
    x = np.interp(filled.up_m, above.up_m, above.x_m)
    y = np.interp(filled.up_m, above.up_m, above.y_m)
    turn = np.unwrap(np.radians(above.azimuth_deg))
    angle = np.interp(filled.up_m, above.up_m, turn)
    east, north = np.cos(angle), -np.sin(angle)
    left, right = (
        np.column_stack([x + off * east, y + off * north])
        for off in (filled.wet.left_m, filled.wet.right_m)
    )
    polygon = shapely.Polygon(np.vstack([left, right[::-1]]))
    if not polygon.is_valid:
        parts = shapely.get_parts(shapely.make_valid(polygon))
        polygon = shapely.union_all(parts[shapely.get_dimensions(parts) == 2])
    return None if polygon.is_empty or polygon.area == 0 else polygon
