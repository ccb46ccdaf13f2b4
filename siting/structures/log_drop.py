"""Log drop: steps of logs and fabric that take a headcut down where stone is scarce."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import ClassVar

from siting.places.spot import Spot
from siting.structures import amounts, structure_sentences
from siting.structures.channel_sizes import channel_width_m, drop_of
from siting.structures.design_flow import flow_cautions, flow_note
from siting.structures.limit_checks import ROUNDING, at_most, hand_limits
from siting.structures.outlines import across_channel, box, rectangle
from siting.structures.rock_sizing import (
    bed_stone,
    kilograms,
    laid_stone,
    lift_check,
    stone_cautions,
    stone_notes,
)
from siting.structures.structure_type import (
    Amount,
    Check,
    Failure,
    Outline,
    Size,
    Stone,
    StructureType,
)
from siting.structures.wood_hold import (
    Hold,
    Logs,
    ballast_check,
    carrying,
    green_log_kg,
    hold,
    hold_cautions,
    hold_notes,
)
from siting.values.wording import metres

#: Wire of one tie round log and post, in log diameters (two turns).
TIE_DIAMETERS = 8


@dataclass(frozen=True, slots=True)
class _Steps:
    """The steps worked out for a spot."""

    width_m: float
    logs: Logs
    held: Hold


class LogDrop(StructureType):
    """Logs across the flow as steps, with fabric and fill behind them."""

    name: ClassVar[str] = "log drop"
    purposes: ClassVar[tuple[str, ...]] = ("vertical",)
    control: ClassVar[str] = "vertical"
    materials_needed: ClassVar[frozenset[str]] = frozenset({"logs"})
    summary: ClassVar[str] = (
        "A log drop, steps of logs with fabric and fill behind them, takes the drop down in small "
        "falls where stone is scarce and timber near."
    )
    size_words: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "steps_count": "Steps",
            "step_m": "Height of a step",
            "tread_m": "Length of a step",
        }
    )
    look_first: ClassVar[tuple[str, ...]] = structure_sentences.LOOK_AT_A_DROP
    needs_tailwater: ClassVar[bool] = False

    def checks(self, spot: Spot) -> tuple[Check, ...]:
        """Hand limits, drop, and the ballast that holds the logs."""
        common = hand_limits(
            spot, purposes=self.purposes, needed=self.materials_needed, name=self.name
        )
        drop = at_most(
            spot.rules["log_drop.drop"],
            spot.drop.height_m,
            error=spot.drop.error_m,
            what="the drop",
            so="that suits a log drop",
        )
        stone = _apron_stone(spot)
        lift = () if stone is None else (lift_check(spot, stone, bed_stone(spot)),)
        return (*common, drop, *lift, ballast_check(spot, _steps(spot).held))

    def suits(self, spot: Spot) -> float:
        """Less than stone: wood rots in 5 to 15 years; less still above the preferred drop."""
        low = spot.drop.height_m + spot.drop.error_m <= spot.rules.low("log_drop.drop")
        return 0.5 if low else 0.4

    def size(self, spot: Spot) -> Size:
        """So many steps of one log each."""
        rules, steps = spot.rules, _steps(spot)
        logs, width, stone = steps.logs, steps.width_m, _apron_stone(spot)
        key, apron = rules.value("log_drop.key"), rules.value("log_drop.apron")
        tread = rules.value("log_drop.tread")
        run = logs.count * tread
        body = across_channel(run, width, key, body="steps", ends="key")
        below = rectangle("apron", (run / 2, run / 2 + apron), (-width / 2, width / 2))
        return Size(
            height_m=drop_of(spot),
            length_m=run + apron,
            crest_m=width + 2 * key,
            dims={
                "width_m": width,
                "steps_count": logs.count,
                "step_m": drop_of(spot) / logs.count,
                "log_diameter_m": logs.diameter_m,
                "log_kg": green_log_kg(spot, logs),
                "tread_m": tread,
                "key_m": key,
                "apron_m": apron,
                "posts_count": logs.posts,
                "fabric_width_m": rules.value("logs.fabric_width"),
                "ballast_kg": steps.held.ballast_kg,
                "ballast_layer_m": steps.held.layer_m,
            },
            parts=(*body, below),
            stone=stone,
            notes=(
                f"Steps: {logs.count} of one log each, {metres(logs.diameter_m)} thick and never "
                "thinner than the step is high, "
                f"{metres(tread)} apart along the channel, {metres(key)} into each bank (field "
                "guides, from memory; length of a step: common practice).",
                "Behind the steps there is fill, so the current pushes on one log's front only "
                "(common practice).",
                *(stone_notes(spot, stone) if stone else (flow_note(spot),)),
                *hold_notes(spot, steps.held),
            ),
        )

    def materials(self, spot: Spot, size: Size) -> tuple[Amount, ...]:
        """Logs, fabric, posts, wire, staples, fill, ballast, apron, seed."""
        rules, dims = spot.rules, size.dims
        count, apron_m2 = dims["steps_count"], dims["apron_m"] * dims["width_m"]
        ballast_m3 = dims["ballast_kg"] / 1000 / rules.value("stone.bulk_density")
        run = count * dims["tread_m"]
        filled = 0.5 * run * size.height_m * dims["width_m"]
        weights: tuple[Amount, ...]
        if "rock" in spot.stock.have:
            small = rules.value("stone.smallest")
            weights = (
                amounts.stone(rules, ballast_m3, d50_m=small, note="ballast on the steps"),
                *_apron(spot, size, apron_m2),
            )
        else:
            weights = (
                Amount("gravel", ballast_m3, "ballast in bags on the steps"),
                amounts.bags(rules, ballast_m3, note="bags for ballast"),
                Amount("logs", apron_m2 / dims["log_diameter_m"], "splash apron of logs"),
            )
        return (
            Amount("logs", count * size.crest_m, f"{count:.0f} logs across"),
            Amount(
                "fabric",
                count * size.crest_m * dims["fabric_width_m"],
                "a strip under and up the back of each log",
            ),
            Amount("posts", dims["posts_count"], "below the logs, which lean on them"),
            Amount(
                "wire", dims["posts_count"] * TIE_DIAMETERS * dims["log_diameter_m"], "log to post"
            ),
            Amount("staples", 2 * dims["posts_count"], "wire and fabric"),
            Amount("fill", filled, "behind the steps, from the face laid back"),
            *weights,
            amounts.seed(rules, size.length_m, size.crest_m),
        )

    def cautions(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """What to take care of here."""
        return structure_sentences.each_once(
            structure_sentences.drop_cautions(spot),
            structure_sentences.channel_cautions(spot),
            flow_cautions(spot),
            stone_cautions(spot, size.stone),
            hold_cautions(spot, _steps(spot).held),
            ("Wood that dries and gets wet in turn rots in 5 to 15 years: keep it moist.",),
        )

    def build_steps(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """Lowest step first."""
        dims = size.dims
        rock = "rock" in spot.stock.have
        return (
            structure_sentences.STORMS,
            structure_sentences.UNDERCUT,
            "Build the grade control below first.",
            f"Dig the face back in {dims['steps_count']:.0f} steps of {metres(dims['tread_m'])} "
            f"along the channel, and trenches {metres(dims['key_m'])} into both banks for the ends "
            "of the logs.",
            f"Lay {metres(dims['apron_m'])} of splash apron below the lowest step: "
            + ("one layer of the largest stones." if rock else "logs side by side along the flow."),
            *((structure_sentences.lifting(spot, size.stone),) if size.stone else ()),
            f"Set the lowest log first, {metres(size.crest_m)} long with both ends in the banks. "
            f"Lay fabric, {metres(dims['fabric_width_m'])} wide, under it and up its back. "
            + carrying(spot, dims["log_kg"]),
            f"Drive posts below the log every {metres(spot.rules.value('log_drop.stake_spacing'))} "
            "and wire the log to them. Fill behind it, tamp, and set the next log on the fill.",
            "The top log lies at or just below the grade of the lip, lowest in the middle.",
            f"Spread {kilograms(dims['ballast_kg'])} of {'stone' if rock else 'gravel in bags'} "
            f"over the steps, {metres(dims['ballast_layer_m'])} thick: it keeps dry logs from "
            "floating."
            if dims["ballast_kg"] > 0
            else "No ballast is needed on these logs.",
            "Fill the ends in the banks with tamped soil and stone; sow the worked ground.",
            structure_sentences.INSPECT,
        )

    def failures(self) -> tuple[Failure, ...]:
        """Floating, piping, scour, rot."""
        return (
            Failure(
                "Logs float or shift in a flow.",
                "Gaps at the ends, tilted logs, ballast washed off.",
                "Set them again with more ballast, deeper in the banks.",
            ),
            structure_sentences.PIPING,
            structure_sentences.UNDERMINED,
            Failure(
                "Wood rots.",
                "A bar goes easily into the wood.",
                "Replace it, or lay stone in its place, before it gives way.",
            ),
        )

    def side_view(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Logs one below the other, the highest level with the lip; fill behind them; apron."""
        dims = size.dims
        count, tread, step = round(dims["steps_count"]), dims["tread_m"], dims["step_m"]
        thick, foot = dims["log_diameter_m"], count * tread / 2
        below = size.stone.d100_m if size.stone is not None else thick
        ends = [(i + 1) * tread - foot for i in range(count)]
        logs = (
            box("log", (end - thick, end), (-i * step - thick, -i * step))
            for i, end in enumerate(ends)
        )
        fill = (
            box("fill", (end - tread, end - thick), (-(i + 1) * step, -i * step))
            for i, end in enumerate(ends)
        )
        apron = (-size.height_m - below, -size.height_m)
        return (*logs, *fill, box("apron", (foot, foot + dims["apron_m"]), apron))

    def section(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Seen from below: the logs one behind and above the other, from bank to bank."""
        dims, half = size.dims, size.crest_m / 2
        tops = [size.height_m - i * dims["step_m"] for i in range(round(dims["steps_count"]))]
        return tuple(
            box("log", (-half, half), (top - dims["log_diameter_m"], top), in_ground=False)
            for top in tops
        )


def _apron_stone(spot: Spot) -> Stone | None:
    """Stone of the splash apron; logs take its place where there is no rock."""
    if "rock" not in spot.stock.have:
        return None
    return laid_stone(
        spot,
        bed_stone(spot),
        by_size_m=spot.rules.low("rock_bowl.stone"),
        because="stone of a splash apron",
    )


def _apron(spot: Spot, size: Size, area_m2: float) -> tuple[Amount, ...]:
    if size.stone is None:
        return ()
    volume = area_m2 * size.stone.d100_m
    note = "splash apron, one stone thick"
    return (amounts.stone(spot.rules, volume, d50_m=size.stone.d50_m, note=note),)


def _steps(spot: Spot) -> _Steps:
    """Work out the fewest steps whose logs can be held down; thinner logs float less."""
    drop, limit = drop_of(spot), spot.rules["log_drop.step"]
    fewest = max(1, math.ceil(drop / limit.high - ROUNDING))
    most = max(fewest, math.ceil(drop / limit.low - ROUNDING))
    for count in range(fewest, most):
        steps = _of_count(spot, count)
        if ballast_check(spot, steps.held).passed:
            return steps
    return _of_count(spot, most)


def _of_count(spot: Spot, count: int) -> _Steps:
    rules = spot.rules
    width = channel_width_m(spot)
    diameter = max(drop_of(spot) / count, rules.low("log_drop.step"))
    key = rules.value("log_drop.key")
    posts = count * amounts.count(width, rules.value("log_drop.stake_spacing"))
    logs = Logs(
        diameter_m=diameter,
        length_m=width + 2 * key,
        count=count,
        area_m2=count * rules.value("log_drop.tread") * width,
        posts=posts,
        lie="across",
        exposed_share=1 / count,
    )
    return _Steps(width, logs, hold(spot, logs, filled=False))
