"""The declared steps that say what the ground does: flow, drainage areas, channels, profiles."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from siting.channels.study_area import CutAreas
from siting.record.feature_tables import channel_table
from siting.steps.step import Column, Input, Output, Parameter, Step, StepData, Values
from siting.values.columns import FeatureTable
from terrain.channels.drainage_areas import (
    Catchments,
    gradient,
    incomplete_counts,
    longest_way_m,
    snap_points,
)
from terrain.channels.network import (
    HECTARE_M2,
    channel_network,
    default_channel_area_ha,
    stems,
)
from terrain.channels.profiles import long_profile
from terrain.flow.conditioning import CarveLimits, Conditioned
from terrain.flow.engines import get_engine
from terrain.values.progress import Progress

#: Flow code of cells without ground, see `terrain.flow.flow_field.FlowField`.
NO_GROUND_CODE = 255.0

DEM = Input("dem", "Elevation raster, or the tiles of one")
POINTS = Input("points", "Points in any vector file")

ENGINE = Parameter(
    "engine", "text", "Flow engine: native, pysheds, or another that is installed", default="native"
)
CARVE_DEPTH = Parameter(
    "carve_depth_m",
    "number",
    "Deepest cut through a false dam; what is deeper is filled",
    unit="m",
    default=CarveLimits().depth_m,
    low=0,
)
CARVE_LENGTH = Parameter(
    "carve_length_m",
    "number",
    "Longest cut through a false dam; what is longer is filled",
    unit="m",
    default=CarveLimits().length_m,
    low=0,
)
FLOW = (ENGINE, CARVE_DEPTH, CARVE_LENGTH)
CHANNEL_AREA = Parameter(
    "channel_area_ha",
    "number",
    "Land that must drain through a place before it counts as a channel",
    unit="ha",
    low=0.0001,
    without="0.3 ha, or 60 cells where that is more",
)


def carve_limits(values: Values) -> CarveLimits:
    """Limits that the parameters of `FLOW` say."""
    depth, length = values["carve_depth_m"], values["carve_length_m"]
    return CarveLimits(depth_m=float(depth or 0), length_m=float(length or 0))


def conditioned(data: StepData, values: Values, progress: Progress) -> Conditioned:
    """Condition the raster as the parameters of `FLOW` say."""
    engine = get_engine(str(values["engine"]))
    return engine.condition(data.raster, limits=carve_limits(values), progress=progress)


def channel_area_ha(data: StepData, values: Values) -> float:
    """Channel area given, or the one that fits the cell size, ha."""
    given = values["channel_area_ha"]
    return default_channel_area_ha(data.raster.grid.cell_m) if given is None else float(given)


def _run_condition(data: StepData, values: Values, progress: Progress) -> Mapping[str, Any]:
    ready = conditioned(data, values, progress)
    report, grid = ready.report, data.raster.grid
    cells = np.concatenate([report.cut_cell, report.filled_cell])
    x, y = grid.xy_of(cells)
    cuts, fills = report.cut_cell.size, report.filled_cell.size
    return {
        "surface": ready.raster.elevation_m,
        "changes": {
            "what": np.array(["cut"] * cuts + ["fill"] * fills, dtype=object),
            "x_m": x,
            "y_m": y,
            "depth_m": np.concatenate([report.cut_depth_m, report.filled_depth_m]),
            "length_m": np.concatenate([report.cut_length_m, np.full(fills, np.nan)]),
        },
    }


CONDITION = Step(
    "condition",
    "Make the ground drain",
    "Cuts through small barriers such as road fills, so that water runs off everywhere; what is "
    "too deep or too long to cut is filled to its brim instead. Ground that drains already is left "
    "as it is.",
    (DEM,),
    FLOW,
    (
        Output("surface", "raster", "Ground that drains everywhere", unit="m", nodata=np.nan),
        Output(
            "changes",
            "table",
            "Every cut of 0.5 m or more, and every depression that was filled",
            columns=(
                Column("what", "cut or fill"),
                Column("x_m", "Where it starts, east"),
                Column("y_m", "Where it starts, north"),
                Column("depth_m", "How deep"),
                Column("length_m", "How long the cut is; empty for a fill"),
            ),
        ),
    ),
    _run_condition,
)


def _run_flow_direction(data: StepData, values: Values, progress: Progress) -> Mapping[str, Any]:
    return {"codes": conditioned(data, values, progress).flow.codes}


FLOW_DIRECTION = Step(
    "flow-direction",
    "Say where each cell drains",
    "Every cell drains to the steepest of its eight neighbours on the conditioned ground. Codes "
    "run clockwise from north: 0 north, 1 northeast, 2 east, 3 southeast, 4 south, 5 southwest, "
    "6 west, 7 northwest; 8 where water leaves the raster; 255 where there is no ground.",
    (DEM,),
    FLOW,
    (Output("codes", "raster", "Flow codes 0 to 8", nodata=NO_GROUND_CODE),),
    _run_flow_direction,
)


def _run_drainage_area(data: StepData, values: Values, progress: Progress) -> Mapping[str, Any]:
    flow = conditioned(data, values, progress).flow
    counts = flow.accumulate()
    area = (counts * (data.raster.grid.cell_area_m2 / HECTARE_M2)).astype(np.float32)
    return {
        "area": np.where(data.raster.valid, area, np.float32(np.nan)),
        "cells": counts,
        "cut": (incomplete_counts(flow) > 0) & data.raster.valid,
    }


DRAINAGE_AREA = Step(
    "drainage-area",
    "Add up the land that drains through each cell",
    "Counts, for every cell, itself and all cells whose water passes through it. The counts are "
    "exact whole numbers.",
    (DEM,),
    FLOW,
    (
        Output("area", "raster", "Land that drains through each cell", unit="ha", nodata=np.nan),
        Output("cells", "raster", "The same as a count of cells", nodata=0),
        Output("cut", "raster", "1 where the raster's edge or a hole cuts the area, else 0"),
    ),
    _run_drainage_area,
)


def _run_channels(data: StepData, values: Values, progress: Progress) -> Mapping[str, Any]:
    ready = conditioned(data, values, progress)
    counts = ready.flow.accumulate()
    network = channel_network(ready.flow, counts, channel_area_ha=channel_area_ha(data, values))
    cut = CutAreas.of(Catchments.of(ready.flow, counts))
    everything = np.ones(network.size, dtype=np.bool_)
    return {"channels": channel_table(data.raster, network, cut.is_cut, shown=everything)}


CHANNELS = Step(
    "channels",
    "Draw the channels",
    "Draws a line wherever enough land drains through, cut at every junction and digitised "
    "downstream through the middles of cells.",
    (DEM,),
    (CHANNEL_AREA, *FLOW),
    (Output("channels", "layer", "One line between two junctions", layer="channels"),),
    _run_channels,
)


def _run_areas(data: StepData, values: Values, progress: Progress) -> Mapping[str, Any]:
    points = data.points_xy
    assert points is not None  # declared as required, so checked before
    ready = conditioned(data, values, progress)
    counts = ready.flow.accumulate()
    radius = float(values["snap_m"] or 0)
    snapped = snap_points(ready.flow, counts, points[:, 0], points[:, 1], radius_m=radius)
    catchments = Catchments.of(ready.flow, counts)
    shapes = np.array([catchments.polygon(int(cell)) for cell in snapped.cell], dtype=object)
    steep = ready.flow.accumulate(gradient(data.raster))
    complete = incomplete_counts(ready.flow).reshape(-1)[snapped.cell] == 0
    number = np.arange(1, len(points) + 1)
    x, y = data.raster.grid.xy_of(snapped.cell)
    return {
        "areas": FeatureTable(
            shapes,
            {
                "site_id": number,
                "drainage_area_ha": snapped.area_after_ha,
                "mean_slope": steep.reshape(-1)[snapped.cell] / counts.reshape(-1)[snapped.cell],
                "flow_path_m": longest_way_m(ready.flow).reshape(-1)[snapped.cell],
                "area_complete": complete,
            },
        ),
        "snapping": {
            "point": number,
            "x_m": points[:, 0],
            "y_m": points[:, 1],
            "snapped_x_m": x,
            "snapped_y_m": y,
            "moved_m": snapped.moved_m,
            "area_before_ha": snapped.area_before_ha,
            "area_after_ha": snapped.area_after_ha,
        },
    }


AREAS_OF_POINTS = Step(
    "areas-of-points",
    "Outline the land that drains to each point",
    "Moves each point to the place within reach that most land drains through, says how far and "
    "what that changed, and outlines the land.",
    (DEM, POINTS),
    (
        Parameter(
            "snap_m",
            "number",
            "How far a point may be moved to the strongest flow; 0 leaves it in its cell",
            unit="m",
            default=10.0,
            low=0,
            high=1000,
        ),
        *FLOW,
    ),
    (
        Output("areas", "layer", "One polygon a point, numbered from 1", layer="drainage_areas"),
        Output(
            "snapping",
            "table",
            "How each point was moved",
            columns=(
                Column("point", "Number of the point, from 1 in the file's order", 0),
                Column("x_m", "Place given, east"),
                Column("y_m", "Place given, north"),
                Column("snapped_x_m", "Place taken, east"),
                Column("snapped_y_m", "Place taken, north"),
                Column("moved_m", "Distance between the two"),
                Column("area_before_ha", "Land that drains to the place given", 4),
                Column("area_after_ha", "Land that drains to the place taken", 4),
            ),
        ),
    ),
    _run_areas,
)


def _run_profile(data: StepData, values: Values, progress: Progress) -> Mapping[str, Any]:
    ready = conditioned(data, values, progress)
    counts = ready.flow.accumulate()
    area = channel_area_ha(data, values)
    walked = stems(ready.flow, counts, channel_area_ha=area, top_area_ha=area)
    parts = []
    lower_ends = [int(walked.of(k)[0]) for k in range(walked.size)]
    strongest = np.argsort([-int(counts.flat[c]) for c in lower_ends], kind="stable")
    most = int(values["channels"] or 0)
    long_enough = [int(k) for k in strongest if walked.of(int(k)).size >= 2]
    for number, k in enumerate(long_enough[:most], start=1):
        line = long_profile(data.raster, walked.of(k), conditioned=ready.raster)
        land = counts.reshape(-1)[line.cell] * (data.raster.grid.cell_area_m2 / HECTARE_M2)
        parts.append(
            np.column_stack(
                [
                    np.full(line.cell.size, number),
                    line.station_m,
                    line.x_m,
                    line.y_m,
                    line.bed_m,
                    line.carved_m,
                    land,
                ]
            )
        )
    names = [column.name for column in _PROFILE_COLUMNS]
    table = np.concatenate(parts) if parts else np.empty((0, len(names)))
    return {"profile": dict(zip(names, table.T, strict=True))}


_PROFILE_COLUMNS = (
    Column("channel", "1 for the one that carries the most land, then 2, and so on", 0),
    Column("station_m", "Distance up the channel from its lower end"),
    Column("x_m", "Place, east"),
    Column("y_m", "Place, north"),
    Column("bed_m", "Bed as measured", 3),
    Column("carved_m", "Bed after the ground was made to drain", 3),
    Column("drainage_area_ha", "Land that drains to the place", 4),
)

PROFILE = Step(
    "profile",
    "Read the long profile of channels",
    "Walks up the channels that carry the most land, each from its lower end, at junctions along "
    "the larger branch, and reads the bed once a cell.",
    (DEM,),
    (
        Parameter(
            "channels", "whole", "How many channels, the largest first", default=1, low=1, high=1000
        ),
        CHANNEL_AREA,
        *FLOW,
    ),
    (Output("profile", "table", "One row a station", columns=_PROFILE_COLUMNS),),
    _run_profile,
)
