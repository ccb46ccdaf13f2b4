"""Small invented gullies whose every measure is known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from siting.channels.ground import Ground
from siting.channels.headcuts import find_headcuts
from siting.channels.reaches import reach_stations
from siting.channels.study_area import CutAreas
from siting.effects.site_effects import Effect, effects_of
from siting.floods.rainfall import Rainfall
from siting.layout.keep_clear import KeepClear
from siting.layout.measuring import BuildSettings, Trials
from siting.layout.proposals import Placing, put_together
from siting.places.site_floods import FloodGauge, FloodSettings
from siting.places.spot import Stock
from siting.site import Site
from siting.sites import Sites, find_sites, sites_of
from siting.values.rules import Rules, load_rules
from siting.works.takes import Means, Takes, takes_of
from terrain.channels.drainage_areas import Catchments
from terrain.channels.network import channel_network
from terrain.flow.conditioning import condition
from terrain.values.raster import Raster

RAIN = Rainfall(
    durations_h=[24.0],
    return_periods_yr=[2.0, 10.0, 100.0],
    depths_mm=[[45.0, 70.0, 110.0]],
    source="invented",
)

#: No runoff in 2 years, so that bankfull is not known, and a little in 10.
DRY_RAIN = Rainfall(
    durations_h=[24.0],
    return_periods_yr=[2.0, 10.0, 100.0],
    depths_mm=[[10.0, 30.0, 60.0]],
    source="invented",
)


def gully_raster(
    *,
    drop_m: float = 0.8,
    slope: float = 0.02,
    rows: int = 400,
    cols: int = 160,
    head_m: float = 200.0,
    bed_m: float = 3.0,
    side: float = 0.06,
    cut_m: float | None = None,
    bed_slope: float | None = None,
    bend_at_m: float | None = None,
    noise_m: float = 0.01,
    ridge: bool = True,
) -> Raster:
    """A straight valley that falls towards the south, with a trench up to a headcut.

    Parameters
    ----------
    drop_m
        Height of the headcut.
    slope
        Slope of valley and bed.
    rows, cols
        Metres north-south and across.
    head_m
        Metres from the southern edge to the lip.
    bed_m
        Width of the trench's bed; its walls rise 2 to 1.
    side
        Slope of the valley's sides towards its middle.
    cut_m
        Depth of the trench, by default that of the drop.
    bed_slope
        Slope of the bed; flatter than the valley the trench runs out on its floor.
    bend_at_m
        From here up the channel runs east for 60 m before it goes on north.
    ridge
        Whether the ground falls away at the northern, eastern and western edge, so that no water
        comes in from outside.
    """
    y = (rows - 0.5 - np.arange(rows))[:, None]
    x = np.arange(cols)[None, :] + 0.5
    middle = np.full_like(y, cols / 2)
    if bend_at_m is not None:
        middle = middle + np.clip((y - bend_at_m) * 6.0, 0.0, 60.0) - 30.0
    across = np.abs(x - middle)
    z = 100.0 + slope * y + side * np.maximum(across - bed_m, 0.0)
    depth = drop_m if cut_m is None else cut_m
    if bed_slope is not None:
        depth = np.maximum(depth - (slope - bed_slope) * (head_m - y), 0.0)
    wall = np.clip(2.0 * (across - bed_m / 2), 0.0, None)
    trench = np.maximum(depth - wall, 0.0)
    full = np.where(y < head_m, trench, 0.0)
    z = z - full
    if ridge:
        edge = np.minimum(np.minimum(x, cols - x), rows - y)
        z = z - 2.0 * np.maximum(4.0 - edge, 0.0)
    rng = np.random.default_rng(3)
    z = z + noise_m * rng.standard_normal(z.shape)
    return Raster.from_array(z.astype(np.float32))


def two_steps(
    *,
    apart: float,
    slope: float = 0.02,
    drop_m: float = 0.7,
    rows: int = 400,
    head_m: float = 200.0,
) -> Raster:
    """A gully with a second, equal step ``apart`` metres further down."""
    raster = gully_raster(drop_m=drop_m, bed_m=3.0, slope=slope, rows=rows, head_m=head_m)
    z = raster.elevation_m.copy()
    rows, cols = z.shape
    y = (rows - 0.5 - np.arange(rows))[:, None]
    across = np.abs(np.arange(cols)[None, :] + 0.5 - cols / 2)
    wall = np.clip(2.0 * (across - 1.5), 0.0, None)
    twice = np.maximum(2 * drop_m - wall, 0) - np.maximum(drop_m - wall, 0)
    return Raster.from_array((z - np.where(y < head_m - apart, twice, 0.0)).astype(np.float32))


def ground_of(
    raster: Raster,
    *,
    rules: Rules | None = None,
    ranch: np.ndarray[Any, Any] | None = None,
    edge_is_divide: bool = False,
) -> Ground:
    """Measure a raster as a screening does."""
    conditioned = condition(raster)
    counts = conditioned.flow.accumulate()
    network = channel_network(conditioned.flow, counts, channel_area_ha=0.3)
    heads = find_headcuts(raster, conditioned, counts, network)
    catchments = Catchments.of(conditioned.flow, counts)
    return Ground(
        raster=raster,
        conditioned=conditioned,
        counts=counts,
        network=network,
        catchments=catchments,
        cut=CutAreas.of(catchments, edge_is_divide=edge_is_divide),
        headcuts=heads,
        stations=reach_stations(raster, network, counts, headcuts=heads),
        rules=rules or load_rules(),
        ranch=ranch,
    )


@pytest.fixture(scope="session")
def gully() -> Callable[..., Raster]:
    return gully_raster


@pytest.fixture(scope="session")
def measured() -> Callable[..., Ground]:
    return ground_of


@pytest.fixture
def rain() -> Rainfall:
    return RAIN


def changed_rules(folder: Path, **numbers: tuple[float, float] | float) -> Rules:
    """Limits with some numbers changed, by way of a file in a folder."""
    usual = load_rules()
    lines = ["version = 1"]
    for key, value in numbers.items():
        name = key.replace("__", ".")
        limit = usual[name]
        low, high = value if isinstance(value, tuple) else (value, value)
        number = f"value = {low}" if low == high else f"min = {low}\nmax = {high}"
        lines += [
            f"[{name}]",
            number,
            f'unit = "{limit.unit}"',
            f'source = "{limit.source}"',
            f'basis = "{limit.basis}"',
            f'meaning = "{limit.meaning}"',
        ]
    path = folder / "rules.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return load_rules(path)


@pytest.fixture
def rules_with(tmp_path: Path) -> Callable[..., Rules]:
    """Return limits with some numbers changed: ``rules_with(hand_work_drop=(0.5, 0.6))``."""
    return partial(changed_rules, tmp_path)


@pytest.fixture(scope="session")
def unsure(tmp_path_factory: pytest.TempPathFactory) -> Rules:
    """Limits by which no bankfull is sure; by the usual ones the small flows here are, and shallow.

    Either way the smallest crest stands where the banks hold the flow over it.
    """
    return changed_rules(tmp_path_factory.mktemp("unsure"), grade_control__bankfull_agreement=0.5)


def trials_on(
    ground: Ground, rainfall: Rainfall | None = None, build: BuildSettings | None = None
) -> Trials:
    """What measures and decides on a ground, with or without rain."""
    settings = FloodSettings(rainfall, None if rainfall is None else 80.0)
    return Trials(ground, FloodGauge(ground, settings), build or BuildSettings())


@dataclass(frozen=True)
class Placed:
    """What one placing function proposes, as sites, and its notes."""

    places: list[Site]
    notes: list[str]


def placed_by(trials: Trials, placing: Placing) -> Placed:
    """Measure and decide what one placing function proposes, as a screening does."""
    sites = sites_of(trials, put_together([placing]).proposals)
    return Placed(list(sites), list(placing.notes))


def cautions_of(site: Site) -> list[str]:
    """What the place and the type say, as in a plan."""
    kind, size = site.decision.type, site.decision.size
    of_type = () if kind is None or size is None else kind.cautions(site.spot, size)
    return [*site.own_cautions, *of_type]


def keep_of(*roads: BaseGeometry, clear: tuple[tuple[BaseGeometry, str], ...] = ()) -> KeepClear:
    """Roads, and what else is kept clear: shapes with their kinds."""
    given = [(r, "road", "ranch road") for r in roads] + [(s, k, "") for s, k in clear]
    columns = [np.empty(len(given), dtype=object) for _ in range(3)]
    for i, one in enumerate(given):
        for column, value in zip(columns, one, strict=True):
            column[i] = value
    return KeepClear(*columns, np.arange(len(given)) < len(roads))  # type: ignore[call-arg]


def sites_on(
    ground: Ground, build: BuildSettings | None = None, rainfall: Rainfall | None = RAIN
) -> tuple[Sites, tuple[str, ...]]:
    """Sites on a ground and the notes, as a screening finds them."""
    settings = FloodSettings(rainfall, None if rainfall is None else 80.0)
    return find_sites(ground, FloodGauge(ground, settings), build)


@dataclass(frozen=True)
class Worked:
    """A gully with two heads 100 m apart, their pairs and two series, worked out."""

    ground: Ground
    sites: Sites
    effects: tuple[Effect, ...]
    takes: Takes


@pytest.fixture(scope="session")
def worked(unsure: Rules) -> Worked:
    """See `Worked`; bankfull is not sure."""
    return worked_out(unsure)


@pytest.fixture(scope="session")
def shallow() -> Worked:
    """The same by the usual limits: bankfull is sure, and a third of it less than the smallest."""
    return worked_out(load_rules())


def worked_out(
    rules: Rules, *, slope: float = 0.015, drop_m: float = 0.53, stock: Stock | None = None
) -> Worked:
    """See `Worked`: a road runs along its western side, too far off to forbid anything.

    Above the lower head the trench is eight times as wide as deep; it gets a series all the same.
    """
    wide = replace(rules["series.width_depth"], low=10.0, high=10.0)
    rules = replace(rules, limits={**rules.limits, wide.name: wide})
    ground = ground_of(two_steps(apart=100.0, slope=slope, drop_m=drop_m), rules=rules)
    road = keep_of(shapely.LineString([(20.0, 20.0), (20.0, 380.0)]))
    sites, _ = sites_on(ground, BuildSettings(stock=stock or Stock(), keep=road))
    effects = effects_of(ground, sites, RAIN)
    return Worked(ground, sites, effects, takes_of(sites, effects, Means(), rules=rules))
