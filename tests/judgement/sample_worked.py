"""The sample ranch worked out once: its sites, their effects, and what they take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

from siting.effects.site_effects import Effect
from siting.floods.rainfall_reading import read_rainfall
from siting.layout.keep_files import KeepFiles
from siting.layout.measuring import BuildSettings
from siting.places.flood_settings import FloodSettings
from siting.record import structure_tables
from siting.screen_settings import ScreenSettings
from siting.screening import screen
from siting.sites import Sites
from siting.works import takes as takes_module
from siting.works.takes import Takes
from terrain.reading.dem import read_dem
from terrain.vectors.boundary import read_boundary

SAMPLE = Path(__file__).resolve().parents[2] / "sample_dem"


@dataclass(frozen=True, slots=True, eq=False)
class WorkedSample:
    """What a screening works out before it is written into tables."""

    sites: Sites
    effects: Sequence[Effect]
    takes: Takes


def worked_sample() -> WorkedSample:
    """Screen the sample and keep what its tables are made from."""
    kept: list[WorkedSample] = []
    real = takes_module.takes_of

    def watched(sites: Sites, effects: Sequence[Effect], *given: Any, **named: Any) -> Takes:
        takes = real(sites, effects, *given, **named)
        kept.append(WorkedSample(sites, effects, takes))
        return takes

    raster = read_dem(SAMPLE / "ranch_dem.tif").raster
    features = SAMPLE / "ranch.gpkg"
    keep = KeepFiles(
        roads=features, keep_clear=features, roads_layer="roads", keep_clear_layer="keep_clear"
    )
    settings = ScreenSettings(
        floods=FloodSettings(read_rainfall(SAMPLE / "rainfall.csv"), 79.0),
        build=BuildSettings(keep_files=keep),
    )
    with mock.patch.object(structure_tables, "takes_of", watched):
        boundary = read_boundary(SAMPLE / "boundary.geojson", raster.grid.crs).polygon
        screen(raster, boundary_polygon=boundary, settings=settings)
    return kept[0]
