"""Made-up structures of another package: none of them exists, and the program knows none of them.

`StoneLattice` says all that a type can say of itself; `QuietBench` follows the protocol without its
base class and says nothing of its looks; `CrosswiseFurrow` stands on roads and is priced as a
whole.
"""

from __future__ import annotations

import math
from types import MappingProxyType

from siting.structures.outlines import box, rectangle
from siting.structures.structure_type import (
    Amount,
    Check,
    Failure,
    Outline,
    Size,
    StructureType,
    Symbol,
)

#: Teeth of the lattice's top, from its upstream end: metres along, height.
TEETH = ((-0.9, 0.0), (-0.6, 0.33), (-0.3, 0.08), (0.0, 0.33), (0.3, 0.08), (0.6, 0.33), (0.9, 0.0))
UNDER = ((0.9, -0.2), (-0.9, -0.2))
#: A hollow square, upright on its tip.
RINGS = (
    ((0.0, 1.2), (1.2, 0.0), (0.0, -1.2), (-1.2, 0.0)),
    ((0.0, 0.5), (-0.5, 0.0), (0.0, -0.5), (0.5, 0.0)),
)


def _gentle(spot):
    ok = spot.slope < 0.2
    return (
        Check(
            "",
            "a bed that falls less than 20 %",
            f"{100 * spot.slope:.1f} %",
            ok,
            "" if ok else "Too steep for a lattice.",
            "the invented handbook of lattices",
            "common practice, no published source",
        ),
    )


class StoneLattice(StructureType):
    name = "stone lattice"
    purposes = ("grade",)
    control = "grade"
    materials_needed = frozenset()
    summary = "A stone lattice, a toothed grid of stone, combs the water and holds the bed."
    label = "lattice of combed stone"
    height_word = "proud"
    size_words = MappingProxyType({"tooth_m": "Tooth to tooth", "horn_m": "Horns into the banks"})
    look_first = (
        "Comb the place by hand: loose teeth show where water has run.",
        "Nobody has built in this bed before.",
        "The moon, or a lamp, for the last row.",
    )
    symbol = Symbol("Lattice: comb the water", RINGS)

    def checks(self, spot):
        served = spot.task.purpose in self.purposes
        why = "" if served else "Another kind of place."
        return (Check("", "a bed", spot.task.purpose, served, why, "", "invented"), *_gentle(spot))

    def suits(self, spot):
        return 1.0

    def size(self, spot):
        wide = spot.width_m if math.isfinite(spot.width_m) else 2.0
        half = wide / 2
        return Size(
            height_m=0.33,
            length_m=1.8,
            crest_m=wide + 0.8,
            dims={"tooth_m": 0.6, "horn_m": 0.4},
            parts=(
                rectangle("grid", (-0.9, 0.9), (-half, half)),
                rectangle("left horn", (-0.2, 0.2), (-half - 0.4, -half)),
                rectangle("right horn", (-0.2, 0.2), (half, half + 0.4)),
            ),
            notes=("Three teeth, as the invented handbook of lattices has them.",),
        )

    def materials(self, spot, size):
        return (Amount("stone_medium", 2.5, "teeth of the lattice"), Amount("staples", 8))

    def cautions(self, spot, size):
        return ("A lattice hums in the wind.",)

    def build_steps(self, spot, size):
        return ("Lay the grid.", "Set the three teeth, each on two stones.", "Sink both horns.")

    def failures(self):
        return (Failure("A tooth falls out.", "A gap in the comb.", "Set it again."),)

    def side_view(self, spot, size):
        return (
            Outline("grid", (*TEETH, *UNDER)),
            box("sink", (0.9, 1.5), (-0.15, 0.0), level="ground"),
        )

    def section(self, spot, size):
        half = size.crest_m / 2 - 0.4
        comb = ((-half, -0.2), (-half, 0.41), (0.0, 0.33), (half, 0.41), (half, -0.2))
        return (
            Outline("grid", comb),
            box("left horn", (-half - 0.4, -half), (0.1, 0.41)),
            box("right horn", (half, half + 0.4), (0.1, 0.41)),
        )


class QuietBench:
    name = "quiet bench"
    purposes = ("vertical",)
    control = "vertical"
    materials_needed = frozenset()
    summary = "A quiet bench lets water sit down."
    spacing_rules = ()

    def checks(self, spot):
        served = spot.task.purpose in self.purposes
        low = served and spot.drop.height_m < 0.9
        return (
            Check("", "a low drop", spot.task.purpose, low, "" if low else "Too high.", "", ""),
        )

    def fits(self, spot):
        return all(check.passed for check in self.checks(spot))

    def why_not(self, spot):
        return tuple(check.why_not for check in self.checks(spot) if not check.passed)

    def suits(self, spot):
        return 1.0

    def size(self, spot):
        body = rectangle("seat", (-0.5, 1.0), (-3.0, 3.0))
        return Size(height_m=0.45, length_m=1.5, crest_m=6.0, parts=(body,))

    def materials(self, spot, size):
        return (Amount("logs", 6.0, "seat"),)

    def cautions(self, spot, size):
        return ()

    def build_steps(self, spot, size):
        return ("Set the bench.",)

    def failures(self):
        return (Failure("Somebody takes it away.", "No bench.", "Bring another."),)


class CrosswiseFurrow(StoneLattice):
    name = "crosswise furrow"
    purposes = ("road",)
    control = "spread"
    summary = "A crosswise furrow takes the water off a road."
    label = ""
    height_word = "deep"
    symbol = None  # type: ignore[assignment]
    priced_whole = "rolling_dip"

    def size(self, spot):
        road = rectangle("furrow", (-0.5, 0.5), (-2.0, 2.0))
        return Size(height_m=0.25, length_m=1.0, crest_m=4.0, parts=(road,))

    def side_view(self, spot, size):
        return (Outline("furrow", ((-0.5, 0.0), (0.5, 0.0), (0.0, -0.25)), "ground"),)

    def section(self, spot, size):
        return ()
