"""The declared steps that say what to build where: headcuts and ranked sites."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from siting.floods.rainfall_reading import parse_rain_24h
from siting.floods.runoff import HIGHEST_CURVE_NUMBER, LOWEST_CURVE_NUMBER
from siting.places.flood_settings import FloodSettings
from siting.places.terrain_settings import TerrainSettings
from siting.screen_settings import ScreenSettings
from siting.screening import Screening, screen
from siting.steps.step import Input, Output, Parameter, Step, StepData, Values
from siting.steps.terrain_steps import CHANNEL_AREA, DEM, FLOW, carve_limits, channel_area_ha
from terrain.values.progress import Progress

BOUNDARY = Input(
    "boundary",
    "Ranch boundary: finds outside it are left out",
    required=False,
)


def _screen(data: StepData, values: Values, progress: Progress) -> Screening:
    rain = values.get("rain_24h")
    number = values.get("curve_number")
    settings = ScreenSettings(
        terrain=TerrainSettings(
            channel_area_ha=channel_area_ha(data, values),
            engine=str(values["engine"]),
            carve=carve_limits(values),
        ),
        floods=FloodSettings(
            rainfall=parse_rain_24h(str(rain)) if rain is not None else data.rainfall,
            curve_number=None if number is None else float(number),
            storm_type=str(values.get("storm_type", "II")),
        ),
    )
    return screen(data.raster, boundary_polygon=data.boundary, settings=settings, progress=progress)


def _run_headcuts(data: StepData, values: Values, progress: Progress) -> Mapping[str, Any]:
    return {"headcuts": _screen(data, values, progress).headcuts}


HEADCUTS = Step(
    "headcuts",
    "Find headcuts",
    "Walks every channel from its outlet up, on the ground as measured, and reports sudden drops "
    "in the bed with their height, face slope and how sure the find is. Road fills, pond banks and "
    "smooth steep reaches are no headcuts.",
    (DEM, BOUNDARY),
    (CHANNEL_AREA, *FLOW),
    (Output("headcuts", "layer", "One point a headcut, at its lip", layer="headcuts"),),
    _run_headcuts,
)


def _run_sites(data: StepData, values: Values, progress: Progress) -> Mapping[str, Any]:
    found = _screen(data, values, progress)
    return {"sites": found.sites, "areas": found.drainage_areas, "crests": found.structure_lines}


SITES = Step(
    "sites",
    "Choose and rank sites",
    "Finds headcuts and measures reaches, chooses where a hand-built structure fits and which, "
    "estimates the floods there, and ranks the places.",
    (DEM, BOUNDARY, Input("rain", "Rainfall table", required=False)),
    (
        Parameter(
            "rain_24h",
            "text",
            "Rain in 24 hours by return period, such as 2=38mm,10=62mm; goes before the table",
            without="the rainfall table, or no peak flows",
        ),
        Parameter(
            "curve_number",
            "number",
            "Runoff curve number of the land (TR-55)",
            low=LOWEST_CURVE_NUMBER,
            high=HIGHEST_CURVE_NUMBER,
            without="no peak flows",
        ),
        Parameter(
            "storm_type",
            "choice",
            "How rain is spread over the day (TR-55 figure B-2)",
            default="II",
            choices=("I", "IA", "II", "III"),
        ),
        CHANNEL_AREA,
        *FLOW,
    ),
    (
        Output("sites", "layer", "One point a site, ranked", layer="sites"),
        Output("areas", "layer", "The land that drains to each site", layer="drainage_areas"),
        Output("crests", "layer", "The crest of each structure", layer="structure_lines"),
    ),
    _run_sites,
)
