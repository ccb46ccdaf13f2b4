"""Drops of base level that travel up the drainage and split where lines join."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tests.second_ground.lines import STEP_M, Line, wander

MERGE_M = 14.0
LEAST_HEAD_M = 0.35
HECTARE_M2 = 10_000.0


@dataclass(frozen=True, slots=True)
class Wave:
    """One drop of base level and how its trench grows."""

    line: int
    start: int  # sample of the line at which it begins
    drop_m: float  # there
    goal_m: float  # what the cut tends to where as much drains as at the start
    time: float  # metres that it travels where one hectare drains
    bed_share: float  # slope of the cut bed, of the valley's
    half_width_m: float  # of the floor where one hectare drains
    young_wall: float  # m/m
    old_wall: float
    spread_share: float  # of the heads whose drop is spread over 3 to 8 m


@dataclass(slots=True)
class Front:
    """Where one wave has come to on one line."""

    line: int
    wave: int
    at: int  # sample at which the cut ends
    depth_m: float
    taper_m: float
    fades: bool


@dataclass(slots=True)
class Cuts:
    """What the waves have cut along each line: arrays of shape (waves, samples)."""

    depth_m: list[NDArray[np.float64]]
    age: list[NDArray[np.float64]]  # 0 at the front to 1 at the start of the wave
    fronts: list[Front] = field(default_factory=list)


def _speed(area_m2: float) -> float:
    return float((area_m2 / HECTARE_M2) ** 0.5)


def _front(rng: np.random.Generator, wave: Wave, line: int, k: int, at: int, depth: float) -> Front:
    pick = rng.random()
    if depth < LEAST_HEAD_M or pick < 0.08:
        return Front(line, k, at, depth, float(rng.uniform(18, 40)), True)
    if pick < 0.08 + 0.92 * wave.spread_share:
        taper = float(rng.uniform(2.5, min(7.0, 2.0 + 3.0 * depth)))
        return Front(line, k, at, depth, taper, False)
    return Front(line, k, at, depth, float(rng.uniform(0.3, 1.0)), False)


def _travel(
    lines: list[Line],
    children: dict[int, list[Line]],
    waves: list[Wave],
    k: int,
    cuts: Cuts,
    rng: np.random.Generator,
    sources: NDArray[np.float64],
) -> None:
    wave = waves[k]
    area0 = float(lines[wave.line].area_m2[wave.start])
    queue = [(wave.line, wave.start, wave.drop_m, wave.time, 0.0)]
    while queue:
        number, start, depth, time, free_m = queue.pop(0)
        line = lines[number]
        slope = np.gradient(line.bed_m, STEP_M)
        hard = np.exp(0.3 * wander(rng, line.x.size, 60))
        free = start + int(free_m / STEP_M)
        rest = max(time, 1.5 / _speed(float(line.area_m2[min(free, line.x.size - 1)])))
        last = line.x.size - int(6 / STEP_M)
        limit = last
        if k > 0:  # never beyond an older wave
            older = [f.at for f in cuts.fronts if f.line == number and f.wave < k]
            limit = min([last, *older])
        i = start
        for i in range(start, limit):
            goal = wave.goal_m * min((line.area_m2[i] / area0) ** 0.3, 1.3)
            gain = np.clip((goal - depth) / 25.0, -0.12, (1 - wave.bed_share) * slope[i])
            depth += float(gain) * STEP_M
            if depth < 0.05 and i > start + 40:
                break
            if i > free:
                rest -= STEP_M / _speed(float(line.area_m2[i])) * hard[i]
            if rest <= 0 or line.area_m2[i] < sources[number]:
                break
            cuts.depth_m[number][k, i] = depth
            cuts.age[number][k, i] = np.clip(rest / wave.time, 0, 1)
            for side in children.get(number, []):
                if side.joint == i:
                    width = half_width(wave, line.area_m2[i], rest / wave.time)
                    wall = depth / wall_slope(wave, rest / wave.time)
                    queue.append((side.number, 0, depth, rest, width + wall))
        if i - start < int(6 / STEP_M):
            cuts.depth_m[number][k, start : i + 1] = 0.0
            continue
        cuts.fronts.append(_front(rng, wave, number, k, i, depth))


def half_width(wave: Wave, area_m2: float, age: float) -> float:
    """Half the width of the floor (m): more where more drains and where the cut is old."""
    size = (max(area_m2, 100.0) / HECTARE_M2) ** 0.3
    return float(max(wave.half_width_m * size * (0.65 + 0.7 * age), 0.35))


def wall_slope(wave: Wave, age: float) -> float:
    """Slope of the walls (m/m): they fall in with age."""
    return float(wave.old_wall + (wave.young_wall - wave.old_wall) * (1 - min(age, 1.0)) ** 2)


def _merge_and_taper(lines: list[Line], cuts: Cuts) -> None:
    for number, line in enumerate(lines):
        mine = sorted((f for f in cuts.fronts if f.line == number), key=lambda f: f.wave)
        for young in mine:
            for old in mine:
                gap = (old.at - young.at) * STEP_M
                if old.wave < young.wave and gap < MERGE_M:
                    depth = cuts.depth_m[number][young.wave]
                    depth[young.at : old.at] = depth[max(young.at - 1, 0)]
                    young.at, young.taper_m, young.fades = old.at, old.taper_m, old.fades
        for front in mine:
            steps = (front.at - np.arange(line.x.size)) * STEP_M / front.taper_m
            cuts.depth_m[number][front.wave] *= np.clip(steps, 0, 1)


def run_waves(lines: list[Line], waves: list[Wave], rng: np.random.Generator) -> Cuts:
    """Let all waves travel, the oldest first, and shape their fronts."""
    cuts = Cuts(
        [np.zeros((len(waves), line.x.size)) for line in lines],
        [np.zeros((len(waves), line.x.size)) for line in lines],
    )
    children: dict[int, list[Line]] = {}
    for line in lines:
        children.setdefault(line.parent, []).append(line)
    sources = np.clip(350.0 * np.exp(rng.normal(0.3, 0.6, len(lines))), 230.0, 5_000.0)
    for k in range(len(waves)):
        _travel(lines, children, waves, k, cuts, rng, sources)
    _merge_and_taper(lines, cuts)
    return cuts
