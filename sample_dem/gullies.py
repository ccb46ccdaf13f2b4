"""Plan of each channel's bed: swales, discontinuous gullies, headcuts, entrances, fans, benches.

Walking up a channel, ``depth`` is how far the bed lies under the valley floor. A gully's bed is
flatter than its valley, so its depth grows upstream until a headcut takes it away again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sample_dem.carving import BED_STEP_M
from sample_dem.network import CentreLine, smooth_line
from sample_dem.noise import wander
from sample_dem.plan import ChannelPlan, PlannedHead, Reach

LARGEST_HEAD_AREA_HA = 42.0
SMALLEST_HEAD_AREA_HA = 0.31
LEAST_RISE_M = 0.45


@dataclass(slots=True)
class Wishes:
    """What the ranch must hold somewhere; taken by the first channel that can carry it."""

    heights: list[float]
    nested: list[int]
    reaches: list[str]


def valley_floor(z: NDArray[np.float64]) -> NDArray[np.float64]:
    """Smooth profile that never falls going upstream."""
    least = 0.004 * np.arange(z.size)
    climb = np.maximum.accumulate(z - least)
    base = np.minimum.accumulate((z - least)[::-1])[::-1]
    level = 0.5 * (climb + base) + least
    return smooth_line(smooth_line(level, 9.0), 4.0)


def blank_plan(
    line: CentreLine, floor: NDArray[np.float64], rng: np.random.Generator
) -> ChannelPlan:
    """Widths and swale of a channel before any gully is planned."""
    n = floor.size
    area = np.minimum(line.area_ha, 60.0)
    wide = np.exp(0.16 * wander(rng, n, 30.0))
    half_bed = np.maximum((0.45 + 0.33 * area**0.38) * wide * rng.uniform(0.85, 1.2), 0.75)
    return ChannelPlan(
        line=line,
        floor=floor,
        slope=np.maximum(smooth_line(np.gradient(floor), 8.0), 0.002),
        depth=np.zeros(n),
        half_bed=half_bed,
        bank_slope=np.full(n, rng.uniform(1.4, 2.4)) * np.exp(0.12 * wander(rng, n, 25.0)),
        bench_depth=np.zeros(n),
        bench_width=np.zeros(n),
        swale_half=(2.4 + 0.9 * area**0.35) * np.exp(0.15 * wander(rng, n, 40.0)),
        swale_depth=np.minimum(0.24 + 0.05 * area**0.35, 0.42)
        * np.exp(0.08 * wander(rng, n, 40.0)),
        fan_rise=np.zeros(n),
        fan_spread=np.full(n, 8.0),
        ripple=np.zeros(n),
    )


def _rounded_ramp(t: float) -> float:
    """0 to 1, straight in the middle, rounded over the first and last quarter (steepest 4/3)."""
    q = 0.25
    if t < q:
        return t * t / (2 * q) / (1 - q)
    if t > 1 - q:
        return 1 - (1 - t) ** 2 / (2 * q) / (1 - q)
    return (t - q / 2) / (1 - q)


class Walker:
    """Walks one channel upstream and writes its plan."""

    def __init__(
        self, plan: ChannelPlan, rng: np.random.Generator, wishes: Wishes, thrift: float
    ) -> None:
        self.plan, self.rng, self.wishes, self.thrift = plan, rng, wishes, thrift
        self.s = 0
        self.n = plan.floor.size
        self.taken = 0.0  # sum of the heads passed
        self.d = float(plan.swale_depth[0])

    def _step(self, change: float) -> None:
        self.plan.depth[self.s] = self.d + self.taken
        self.d += change
        self.s += 1

    def _room(self) -> int:
        return self.n - self.s

    def swale(self, length: float, setting: str = "swale") -> None:
        """Unincised reach: the depth eases back to the swale's own."""
        low = self.s
        for _ in range(int(min(length, self._room() - 1))):
            gap = float(self.plan.swale_depth[self.s]) - self.d
            self._step(float(np.clip(gap, -0.035, 0.035)))
        if self.s > low:
            self.plan.reaches.append(Reach(setting, low, self.s))

    def ramp_out(self, steepness: float, setting: str) -> None:
        """Lose the incision gradually, with no step anywhere."""
        goal = float(self.plan.swale_depth[min(self.s + 20, self.n - 1)])
        fall = self.d - goal
        length = int(max(1.2 * fall / steepness, 8.0))
        length = min(length, self._room() - 2)
        low, start = self.s, self.d
        for k in range(max(length, 0)):
            self._step(start - fall * _rounded_ramp((k + 1) / length) - self.d)
        self.plan.reaches.append(Reach(setting, low, self.s, f"{fall:.1f} m over {self.s - low} m"))

    def _head(self, height: float, kind: str) -> None:
        face = height / float(self.rng.uniform(0.9, 3.2))
        face = float(np.clip(face, 0.4, 1.9))
        pool = float(self.rng.uniform(0.15, 0.4)) if self.rng.random() < 0.4 else 0.0
        lip = self.s + face
        self.plan.heads.append(PlannedHead(self.plan.line.number, lip, height, face, pool, kind))
        self.taken += height
        self.d -= height

    def _deepen(self, ratio: float, goal: float, longest: int) -> bool:
        """Go up a bed ``ratio`` as steep as the valley until the depth reaches ``goal``."""
        for _ in range(longest):
            if (
                self._room() < max(25.0, 12 + 1.3 * self.d / 0.045)
                or self.plan.line.area_ha[self.s + 3] < SMALLEST_HEAD_AREA_HA
            ):
                return False
            if self.d >= goal:
                return True
            slope = float(self.plan.slope[self.s])
            self._step(slope - max(ratio * slope, 0.005))
        return self.d >= goal

    def _height(self) -> float:
        if self.wishes.heights:
            fall = 0.5 * float(self.plan.slope[self.s :].mean()) * (self._room() - 60)
            for k, height in enumerate(
                self.wishes.heights
            ):  # the first that this channel can reach
                if height < fall or height < 1.5:
                    return self.wishes.heights.pop(k)
        pick = self.rng.random()
        if pick < 0.07:
            return float(self.rng.uniform(0.42, 0.58))
        if pick < 0.17:
            return float(self.rng.uniform(1.5, 2.3))
        return float(self.rng.uniform(0.65, 1.5))

    # one piece, as the order of its random draws makes the ground of the sample
    def gully(self, side: bool = False) -> None:  # noqa: C901, PLR0912
        """A discontinuous gully ended by one to three headcuts (or a side gully off a main one)."""
        area = float(self.plan.line.area_ha[self.s])
        if area > LARGEST_HEAD_AREA_HA:
            return self.entrance("incised")
        low = self.s
        start_depth = self.d
        ratio = float(self.rng.uniform(0.25, 0.6))
        if side:
            count = 1
            self._deepen(0.95, 99.0, int(self.rng.uniform(14, 40)))
            rise = self.d - float(self.plan.swale_depth[self.s])
            if (
                rise < LEAST_RISE_M
                or self._room() < 22
                or self.plan.line.area_ha[self.s + 3] < SMALLEST_HEAD_AREA_HA
            ):
                return self.ramp_out(0.05, "smooth_entrance")
            if rise > 2.4:
                count = 2
                self._head(float(self.rng.uniform(0.45, 0.6)) * rise, "side")
                self._gap()
        else:
            count = (
                self.wishes.nested.pop(0)
                if self.wishes.nested
                else int(self.rng.choice([1, 2, 3], p=[0.62, 0.26, 0.12]))
            )
            wanted = self._height()
            if wanted > 2.3:
                count, ratio = 1, 0.25
            goal = wanted + (0.45 * (count - 1) if count > 1 else 0.0)
            longest = 260 if goal > 2.2 else int(self.rng.uniform(110, 190))
            reached = self._deepen(ratio, goal + float(self.plan.swale_depth[self.s]), longest)
            rise = self.d - float(self.plan.swale_depth[self.s])
            if not reached:
                if wanted > 2.3 and rise < 2.2:
                    self.wishes.heights.insert(
                        0, wanted
                    )  # another channel may have the fall for it
                if count > 2 and rise < 1.3:
                    self.wishes.nested.insert(0, count)
                if rise < 0.6 or self._room() < 25:
                    self._fan(low, start_depth)
                    return self.ramp_out(0.045, "smooth_entrance")
                count = 1 if rise < 1.3 else min(count, 2)
            for _ in range(count - 1):
                rise = self.d - float(self.plan.swale_depth[self.s])
                height = float(np.clip(rise * self.rng.uniform(0.4, 0.6), 0.62, 1.5))
                if rise - height < 0.35:
                    break
                self._head(height, "nested")
                if not self._gap():
                    break
        self._fan(low, start_depth)
        rise = self.d - float(self.plan.swale_depth[min(self.s + 3, self.n - 1)])
        if rise >= LEAST_RISE_M:
            kind = "side" if side else ("nested" if count > 1 else "main")
            self._head(rise, kind)
        elif rise > 0.05:
            self.ramp_out(0.04, "smooth_entrance")
        self.plan.reaches.append(
            Reach("side_gully" if side else "discontinuous_gully", low, self.s)
        )
        return None

    def _gap(self) -> bool:
        """The bed between two nested heads."""
        length = int(self.rng.uniform(18, 65))
        self._deepen(float(self.rng.uniform(0.5, 0.85)), 99.0, length)
        return self._room() > 25

    def _fan(self, low: int, depth: float) -> None:
        """A deposit just below where a gully comes out on its valley floor."""
        if low < 30 or depth > 0.6:
            return
        big = "fan" in self.wishes.reaches and self.plan.slope[low] > 0.025 and low > 70
        length = int(min(70 if big else self.rng.uniform(22, 38), low - 4))
        rise = 0.42 * float(self.plan.slope[max(low - length // 2, 0)]) * length / 2
        rise = min(rise, 0.9 if big else 0.35)
        if any(h.lip_m > low - length - 14 for h in self.plan.heads if h.lip_m <= low):
            return
        k = np.arange(low - length, low + 1)
        self.plan.fan_rise[k] = rise * np.sin(np.pi * (k - k[0]) / length) ** 2
        self.plan.fan_spread[k] = (20.0 if big else 8.0) * (0.6 + 0.6 * (low - k) / length)
        if big:
            self.wishes.reaches.remove("fan")
            self.plan.reaches.append(Reach("alluvial_fan", low - length, low, f"{rise:.1f} m high"))
        else:
            self.plan.reaches.append(Reach("fan", low - length, low, f"{rise:.1f} m high"))

    def entrance(self, setting: str) -> None:
        """An incised reach whose upper end is smooth: no head."""
        low = self.s
        goal = float(
            self.rng.uniform(1.9, 2.3) if setting == "chute" else self.rng.uniform(1.0, 1.7)
        )
        self._deepen(0.45, goal + float(self.plan.swale_depth[self.s]), 150)
        fall = self.d - float(self.plan.swale_depth[self.s])
        self.plan.reaches.append(Reach("incised", low, self.s))
        if setting == "knickzone":
            self.ramp_out(max(fall / 27.0, 0.03), "gradual_knickzone")
        elif setting == "chute":
            steep = max(0.14 - float(self.plan.slope[self.s]), 0.04)
            self.ramp_out(min(steep, 1.2 * max(fall, 0.2) / 25.0), "smooth_chute")
        else:
            self.ramp_out(0.04, "smooth_entrance")

    def widening(self) -> None:
        """A swale that opens out downstream and grows shallow."""
        length = int(min(self.rng.uniform(50, 90), self._room() - 5))
        if length < 30:
            return
        k = np.arange(self.s, self.s + length)
        bump = np.sin(np.pi * (k - k[0]) / length) ** 2
        self.plan.swale_half[k] *= 1 + 1.6 * bump
        self.plan.swale_depth[k] *= 1 - 0.35 * bump
        self.swale(length, "widening_swale")

    def walk(self, junction_depth: float) -> None:
        """Plan the whole channel from its lower end to its upper one."""
        rng = self.rng
        if junction_depth > self.d + 0.25:
            self.d = junction_depth
            if rng.random() < 0.72 and self._room() > 60:
                self.gully(side=True)
            else:
                self.ramp_out(0.05, "graded_junction")
        else:
            self.d = max(junction_depth, 0.12)
        self.walk_on()

    def walk_on(self) -> None:
        """Plan what is left of the channel, from where the walk has come to."""
        rng = self.rng
        self.swale(rng.uniform(15, 60) * self.thrift)
        while self._room() > 45:
            pick = rng.random()
            special = [r for r in self.wishes.reaches if r != "fan"]
            if (
                special
                and self._room() > 120
                and self.plan.slope[self.s] < 0.07
                and rng.random() < 0.5
            ):
                kind = special[0]
                self.wishes.reaches.remove(kind)
                self.widening() if kind == "widening" else self.entrance(kind)
            elif pick < 0.55:
                self.gully()
            elif pick < 0.61:
                self.entrance("knickzone")
            elif pick < 0.67:
                self.entrance("incised")
            elif pick < 0.76:
                self.widening()
            self.swale(rng.uniform(20, 100) * self.thrift)
        self.swale(self._room())
        while self.s < self.n:
            self._step(0.0)


def add_benches(plan: ChannelPlan, rng: np.random.Generator) -> None:
    """Inset benches in the deeper reaches of the larger channels, eased in and out."""
    for reach in plan.reaches:
        if reach.setting not in ("discontinuous_gully", "incised", "side_gully"):
            continue
        low, high = int(reach.low_m), int(reach.high_m)
        area = float(plan.line.area_ha[(low + high) // 2])
        if area < 1.2 or high - low < 20 or rng.random() < 0.2:
            continue
        depth = float(np.clip(0.22 + 0.07 * area**0.4 * rng.uniform(0.6, 1.6), 0.22, 0.6))
        width = float(rng.uniform(0.9, 1.2) + 0.4 * min(area / 15.0, 1.0))
        plan.bench_depth[low:high] = depth
        plan.bench_width[low:high] = width
        plan.half_bed[low:high] = np.clip(plan.half_bed[low:high].mean() * 0.85, 0.8, 1.4)
        plan.bank_slope[low:high] = np.maximum(plan.bank_slope[low:high], 1.8)
        bankfull = 2 * (plan.half_bed[low] + depth / 1.5)
        reach.note = f"bankfull {bankfull:.2f} m wide, {depth:.2f} m deep"


def finish(plan: ChannelPlan, start_bed: float | None) -> None:
    """Turn the plan into a finely sampled bed."""
    n = plan.floor.size
    at = np.arange(0.0, n - 1, BED_STEP_M)
    metre = np.arange(n)
    fade = np.clip((n - 1 - metre) / 30.0, 0, 1)  # the channel dies out at its upper end
    smooth = smooth_line(plan.depth, 1.5)
    smooth = smooth - (1 - fade) * plan.swale_depth
    depth = np.interp(at, metre, smooth)
    pools = np.zeros(at.size)
    for head in plan.softened:  # once meant as a head; now a long even ramp
        depth -= head.height_m * np.clip((at - head.lip_m) / 40.0 + 0.5, 0, 1)
    for head in plan.heads:
        foot = head.lip_m - head.face_m
        depth -= head.height_m * np.clip((at - foot) / head.face_m, 0, 1)
        if head.pool_m > 0:
            length = 1.6 + 0.8 * head.height_m
            t = (foot + 0.2 - at) / length
            inside = (t >= 0) & (t <= 1)
            pools[inside] = np.maximum(pools[inside], head.pool_m * 4 * t[inside] * (1 - t[inside]))
    rise = np.interp(at, metre, plan.fan_rise)
    floor = np.interp(at, metre, plan.floor)
    plan.bed = floor + rise - depth - pools + np.interp(at, metre, plan.ripple)
    if start_bed is not None:  # meet the main channel's bed exactly
        gap = start_bed - plan.bed[0]
        plan.bed = plan.bed + gap * np.exp(-at / 12.0)
    own = np.interp(at, metre, plan.swale_depth)
    t = np.clip((depth - own - 0.05) / 0.35, 0, 1)
    plan.gully = t * t * (3 - 2 * t)


def swale_alone(plan: ChannelPlan) -> ChannelPlan:
    """The same channel as if it had never been cut: its swale on the valley floor."""
    n = plan.floor.size
    at, metre = np.arange(0.0, n - 1, BED_STEP_M), np.arange(n)
    fade = np.clip((n - 1 - metre) / 30.0, 0, 1)
    bed = plan.floor + plan.fan_rise - fade * plan.swale_depth
    return replace(plan, bed=np.interp(at, metre, bed), gully=np.zeros(at.size))
