"""Made-up channels and trenches whose pools and wedges have closed forms."""

from __future__ import annotations

import numpy as np

from siting.channels.ground import Ground
from siting.effects.channel_above import ChannelAbove
from terrain.values.raster import Raster


def prism(
    width_m: float,
    *,
    side: float = 0.0,
    slope: float = 0.02,
    length_m: float = 40.0,
    step_m: float = 0.5,
    bank_m: float = 3.0,
    ends_at: str = "length",
) -> ChannelAbove:
    """A channel of one trapezoid all along an even bed."""
    up = np.arange(0.0, length_m + step_m / 2, step_m)
    bed = 10.0 + slope * up
    half, top = width_m / 2, width_m / 2 + side * bank_m
    offset = np.array([-top, -half, 0.0, half, top])
    shape = np.array([bank_m, 0.0, 0.0, 0.0, bank_m])
    return ChannelAbove.of_sections(up, bed, offset, bed[:, None] + shape, ends_at=ends_at)


def trench(
    width_m: float,
    *,
    side: float = 1.5,
    slope: float = 0.02,
    bank_m: float = 1.0,
    cell_m: float = 1.0,
    noise_m: float = 0.0,
    seed: int = 0,
    skew: float = 0.3,
    drop_m: float = 0.0,
    head_m: float = 70.0,
    length_m: float = 220.0,
) -> Raster:
    """A trench down a valley; ``skew`` turns it off the grid's columns.

    Its bed falls at ``slope`` along the trench and dips by 2 cm a metre to its middle, so that the
    water gathers there. Above ``head_m`` (metres north of the southern edge) it is ``drop_m``
    shallower.
    """
    rows, cols = round(length_m / cell_m), round((110 + skew * length_m) / cell_m)
    y = (rows - 0.5 - np.arange(rows))[:, None] * cell_m
    x = (np.arange(cols)[None, :] + 0.5) * cell_m
    longer = np.hypot(1.0, skew)
    off = np.abs(x - cols * cell_m / 2 - skew * (y - length_m / 2)) / longer
    wall = np.clip((off - width_m / 2) / side, 0.0, bank_m)
    z = 100.0 + slope * longer * y + wall + 0.06 * np.maximum(off - width_m / 2 - side * bank_m, 0)
    z -= BED_DIP * np.maximum(width_m / 2 - off, 0.0)
    z += np.where(y > head_m, np.maximum(drop_m - wall, 0.0), 0.0)
    z += noise_m * np.random.default_rng(seed).standard_normal(z.shape)
    return Raster.from_array(z.astype(np.float32), cell_m=cell_m)


BED_DIP = 0.02


def pool_of_trench(
    crest_m: float, width_m: float, *, side: float, slope: float
) -> tuple[float, float]:
    """Area and volume of the still pool in such a trench, by fine integration."""
    off = np.linspace(0.0, width_m / 2 + side, 4001)
    edge = BED_DIP * width_m / 2
    ground = np.where(off < width_m / 2, BED_DIP * off, edge + (off - width_m / 2) / side)
    up = np.linspace(0.0, crest_m / slope, 401)
    depth = np.maximum((crest_m - slope * up)[:, None] - ground, 0.0)
    width = 2 * (depth > 0).sum(axis=1) * (off[1] - off[0])
    section = 2 * np.trapezoid(depth, off, axis=1)
    return float(np.trapezoid(width, up)), float(np.trapezoid(section, up))


def channel_cell(ground: Ground, y_m: float) -> int:
    """Channel cell with the most land behind it, some metres north of the southern edge."""
    cells = ground.network.cells
    _, y = ground.raster.grid.xy_of(cells)
    near = cells[np.abs(y - y_m) <= 0.6 * ground.raster.grid.cell_m]
    return int(near[np.argmax(ground.counts.reshape(-1)[near])])
