"""Refer: no hand-built structure; what an engineer has to settle."""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from siting.places.spot import PURPOSES, Spot
from siting.structures import structure_sentences
from siting.structures.design_flow import design_flow, years
from siting.structures.structure_type import (
    Amount,
    Check,
    Failure,
    Outline,
    Size,
    StructureType,
)
from siting.values.wording import flow, hectares, metres, percent, quantity


class Refer(StructureType):
    """A place for an engineer. It is not chosen like the others: it stands where none fits."""

    name: ClassVar[str] = "engineer"
    purposes: ClassVar[tuple[str, ...]] = PURPOSES
    control: ClassVar[str] = "refer"
    materials_needed: ClassVar[frozenset[str]] = frozenset()
    summary: ClassVar[str] = (
        "No hand-built structure is proposed here: an engineer has to look at it first."
    )
    look_first: ClassVar[tuple[str, ...]] = (
        "Measure drop, width and depth from a safe place; photograph it from both banks.",
        "Fences, roads, pipes, ponds and buildings within reach of it.",
        "Keep people, stock and vehicles off the lip.",
    )

    def checks(self, spot: Spot) -> tuple[Check, ...]:
        """No limits: anything may be referred."""
        return ()

    def suits(self, spot: Spot) -> float:
        """Less than anything that fits."""
        return 0.0

    def size(self, spot: Spot) -> Size:
        """No size."""
        return Size(height_m=np.nan, length_m=np.nan, crest_m=np.nan)

    def materials(self, spot: Spot, size: Size) -> tuple[Amount, ...]:
        """Nothing."""
        return ()

    def cautions(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """Keep away until it is settled."""
        drop = ("Keep off the lip and the foot: it may fall without warning.",)
        return drop if spot.task.purpose == "vertical" else ()

    def build_steps(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """What an engineer must settle, with what is known here."""
        return to_settle(spot)

    def failures(self) -> tuple[Failure, ...]:
        """What gets worse while nothing is done."""
        return (
            Failure(
                "The drop moves up, or the banks fall in, while it waits.",
                "Fresh cracks behind the lip or the banks, slabs on the bed.",
                "Take a photograph from a fixed point after each flow, and keep stock and vehicles "
                "away.",
            ),
            structure_sentences.UNDERMINED,
        )

    def side_view(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Nothing is built."""
        return ()

    def section(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Nothing is built."""
        return ()


def to_settle(spot: Spot) -> tuple[str, ...]:
    """Say what has to be settled before anything is built here."""
    if spot.task.purpose == "road":
        return (
            f"Where the water of the road can go: the road falls {percent(spot.slope)}, and a dip "
            "has to drain onto ground with plants.",
        )
    size = [
        f"a drop of {metres(spot.drop.height_m)}" if math.isfinite(spot.drop.height_m) else "",
        f"banks {metres(spot.banks.depth_m)} high" if math.isfinite(spot.banks.depth_m) else "",
        f"a width of {metres(spot.banks.width_m)}" if math.isfinite(spot.banks.width_m) else "",
        f"a bed that falls {percent(spot.slope)}",
    ]
    state = design_flow(spot) if spot.land.complete else None
    known = (
        f"by these numbers {flow(state.discharge_m3s)} in the {years(spot)} flow, "
        f"{metres(state.depth_m)} deep and {quantity(state.velocity_mps, 'm/s')} fast"
        if state
        else "not known here"
    )
    out = [
        "Survey the place with level and rod: the elevations show "
        + ", ".join(s for s in size if s)
        + ".",
        (
            f"Settle the design flow from {hectares(spot.land.area_ha)}: {known}."
            if spot.land.complete
            else "Settle the drainage area and the design flow: the raster holds only a part, "
            f"{hectares(spot.land.area_ha)}. Elevations of the rest may answer it."
        ),
        "Settle whether soil, banks and foundation carry a structure: cracks, seeps, piping.",
        "Settle what lies below (road, house, pond, culvert) and what a failure would do there.",
        "Settle which permits it needs, and who signs the design.",
    ]
    if spot.task.purpose == "vertical":
        out.insert(2, "Settle how the energy of the fall is taken out, and what holds its foot.")
    return tuple(out)
