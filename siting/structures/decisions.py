"""What stands at a spot, decided once, and why nothing else."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

from siting.places.spot import Spot
from siting.places.unseen_width import at_each_end, end_words
from siting.structures.catalogue import Chosen, at_the_worse, choose
from siting.structures.design_flow import at_high_end
from siting.structures.high_end import told_at_high_end
from siting.structures.limit_checks import AREA_RULE, STOCK_RULE
from siting.structures.structure_type import Check, Size, StructureType
from siting.structures.type_looks import KIND
from terrain.values.errors import ParameterError
from terrain.values.plugins import call_plugin

#: What a place is called that is not for hands, and one of which only the raster shows too little.
ENGINEER: Final = "engineer"
MORE_ELEVATIONS: Final = "complete the DEM"
#: What stands at a site that waits, and at one that is left out since nothing fits any more.
SETTLE_FIRST: Final = "settle on site first"
NOTHING: Final = "nothing"


@dataclass(frozen=True, slots=True)
class Decision:
    """What the structure types say of a spot.

    Parameters
    ----------
    chosen
        The best that fits, and every limit that was held against the place.
    size
        Size of the chosen one; None where none fits.
    kept_clear
        Distances to roads and what else is kept clear, held against their limits.
    at_high
        What was sized for the likely flow, held against the high end of its range; empty where
        nothing is built or no range is known.
    """

    chosen: Chosen
    size: Size | None
    kept_clear: tuple[Check, ...] = ()
    at_high: tuple[Check, ...] = ()

    @property
    def type(self) -> StructureType | None:
        """The structure type chosen; None where none fits."""
        return self.chosen.type

    @property
    def kind(self) -> StructureType:
        """The structure type chosen, where there is one.

        Raises
        ------
        ParameterError
            No type fits.
        """
        if self.type is None:
            raise ParameterError("a spot where no structure fits", expected="one that fits")
        return self.type

    @property
    def sized(self) -> Size:
        """Size of the structure chosen, where there is one.

        Raises
        ------
        ParameterError
            No type fits.
        """
        if self.size is None:
            raise ParameterError("a spot where no structure fits", expected="one that fits")
        return self.size

    @property
    def builds(self) -> bool:
        """Whether a type fits and nothing that is kept clear lies too near."""
        return self.type is not None and not self.too_near

    @property
    def fails_at_high(self) -> tuple[Check, ...]:
        """What holds at the likely flow and not at the high end of its range."""
        return tuple(check for check in self.at_high if not check.passed)

    @property
    def summary(self) -> str:
        """What the structure chosen is and does."""
        return self.kind.summary

    @property
    def too_near(self) -> tuple[str, ...]:
        """What the place is too near to, in sentences."""
        return tuple(check.why_not for check in self.kept_clear if not check.passed)

    @property
    def why_none(self) -> tuple[str, ...]:
        """Why no structure fits: limits that none holds, else those of the nearest one."""
        return tuple(check.why_not for check in self.failed) or self.nearest_why_not

    @property
    def why_short(self) -> str:
        """The same in few words, to count places that are refused alike."""
        return " ".join(check.why_not for check in self.failed) or self.nearest_why_not[0]

    @property
    def referral(self) -> str:
        """What a place needs where nothing is built: an engineer, or only more elevations."""
        failed = self.failed
        only_area = bool(failed) and all(c.rule == AREA_RULE for c in failed)
        only_area = only_area and not self.too_near and self.type is None
        return MORE_ELEVATIONS if only_area else ENGINEER

    @property
    def nearest_why_not(self) -> tuple[str, ...]:
        """Why the type that comes nearest to fitting does not fit; one that can be built first."""
        tried = [[c for c in checks if not c.passed] for checks in self.chosen.checks.values()]
        if not tried:
            return ("No structure is known that does this.",)
        nearest = min(tried, key=_how_far)
        return tuple(c.why_not for c in nearest)

    @property
    def failed(self) -> tuple[Check, ...]:
        """Limits that no type holds, each once, in the order they were tried."""
        tried = self.chosen.checks
        failing = [{c.why_not for c in checks if not c.passed} for checks in tried.values()]
        common = set.intersection(*failing) if failing else set()
        seen: dict[str, Check] = {}
        for checks in tried.values():
            for check in checks:
                if check.why_not in common and not check.passed:
                    seen.setdefault(check.why_not, check)
        return tuple(seen.values())


def decide(
    spot: Spot, types: Iterable[StructureType], *, kept_clear: tuple[Check, ...] = ()
) -> Decision:
    """Let those types that serve a spot's purpose choose there.

    Parameters
    ----------
    spot
        The place as measured.
    types
        Structure types to choose from.
    kept_clear
        Distances to what is kept clear, held against their limits.
    """
    chosen = choose(spot, [t for t in types if spot.task.purpose in t.purposes])
    if chosen.type is None:
        return Decision(chosen, None, kept_clear)
    size = chosen.type.size(spot)
    return Decision(chosen, size, kept_clear, _held_at_high_end(spot, chosen.type, size))


def _held_at_high_end(spot: Spot, kind: StructureType, size: Size) -> tuple[Check, ...]:
    """Checks at the high end of the flow's range; what fails is told as of there."""
    high = at_high_end(spot)
    if high is None:
        return ()
    # a type that follows the protocol only may say nothing of its own
    own = getattr(kind, "high_end_checks", None)

    def held(there: Spot, laid: Size) -> tuple[Check, ...]:
        checks = kind.checks(there) if own is None else own(there, laid)
        return tuple(
            c if c.passed else replace(c, why_not=told_at_high_end(there, c)) for c in checks
        )

    sizes = (size, *(kind.size(there) for there in at_each_end(spot)[1:]))
    at_ends = [
        call_plugin(KIND, kind.name, partial(held, *end))
        for end in zip(at_each_end(high), sizes, strict=True)
    ]
    return at_the_worse(end_words(spot), at_ends)


def _how_far(failed: list[Check]) -> tuple[bool, int]:
    """How far a type is from fitting: what cannot be built here at all comes last."""
    return any(check.rule == STOCK_RULE for check in failed), len(failed)
