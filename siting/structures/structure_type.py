"""What a structure type is: limits, size, materials, steps, failures, looks and words.

A type is a plug-in of the entry-point group ``gullywalk.structures``: a class without constructor
arguments that follows `StructureType`. It decides about one spot; where spots are, how far apart
and which of them belong together is decided by the placing functions.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import ClassVar, Literal

from siting.places.spot import Spot

#: What the heights of an outline count from.
Level = Literal["site", "ground"]
Ring = tuple[tuple[float, float], ...]

#: Everything that materials are counted in: item to unit and plain words.
ITEMS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "stone_small": ("t", "stone of 10 to 20 cm"),
        "stone_medium": ("t", "stone of 15 to 30 cm"),
        "stone_large": ("t", "stone of 20 to 45 cm"),
        "gravel": ("m3", "gravel with fines, to fill gaps"),
        "fill": ("m3", "earth moved on the spot"),
        "logs": ("m", "logs, length of all together"),
        "posts": ("pieces", "posts, driven"),
        "wire": ("m", "smooth wire"),
        "staples": ("pieces", "fence staples"),
        "fabric": ("m2", "geotextile or burlap"),
        "brush": ("m3", "brush, loose"),
        "pickets": ("pieces", "pickets, driven"),
        "seed": ("kg", "native grass seed"),
    }
)


@dataclass(frozen=True, slots=True)
class Check:
    """One limit held against a place.

    Parameters
    ----------
    rule
        Name of the limit in ``rules.toml``; empty for a condition without a number.
    asks, found
        What is asked and what is there, in plain words with units.
    passed
        Whether it holds, at the unfavourable end of the error.
    why_not
        One sentence for a person when it does not hold; empty when it does.
    source, basis
        Where the limit comes from: see `siting.values.rules.Limit`.
    """

    rule: str
    asks: str
    found: str
    passed: bool
    why_not: str
    source: str
    basis: str


@dataclass(frozen=True, slots=True)
class Stone:
    """Stone that holds at a place.

    Parameters
    ----------
    d50_m, d100_m
        Median and largest diameter, m.
    heaviest_kg
        Mass of the largest.
    two_person
        Whether the largest is more than one person should lift.
    method, basis
        How it was sized (all that apply; the larger rules), and what kind of source that is.
    """

    d50_m: float
    d100_m: float
    heaviest_kg: float
    two_person: bool
    method: str
    basis: str


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a structure as seen from above, to scale.

    ``outline`` holds corners as (along, across): metres downstream of the crest, and metres to the
    right of the channel's middle when looking downstream. It is not closed.
    """

    name: str
    outline: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Outline:
    """A part of a structure as seen from the side, or in a section across the channel, to scale.

    Parameters
    ----------
    name
        What it is: ``body``, ``apron``, ``left key``.
    corners
        Of the side view (along, height): metres downstream of the site, and metres upward. Of the
        section (across, height): metres to the right of the channel's middle, looking downstream,
        and metres upward. Not closed.
    level
        What heights count from: ``site`` is the ground at the site (in the side view the bed, or
        the lip of a drop; in the section its lowest ground), ``ground`` the ground beneath each
        corner, so that a part on the bed follows it.
    in_ground
        False for a part of which only what stands above the ground is seen, such as a wall from
        bank to bank; True for one that is drawn as far as it is let in.
    """

    name: str
    corners: tuple[tuple[float, float], ...]
    level: Level = "site"
    in_ground: bool = True


@dataclass(frozen=True, slots=True)
class Symbol:
    """A shape on maps for a type that is to be told from others with its control.

    Parameters
    ----------
    words
        What it is and does, for legends: ``Rolling dip: lead water off a road``.
    rings
        Closed outlines in a box from -1.25 to 1.25 (x right, y up); holes run the other way. It is
        filled in the colour of the type's control.
    turns
        Whether it turns with the flow; its foot is then drawn downward.
    """

    words: str
    rings: tuple[Ring, ...]
    turns: bool = False


@dataclass(frozen=True, slots=True)
class Size:
    """How large a structure is.

    Parameters
    ----------
    height_m, length_m, crest_m
        Above the bed; along the channel; across it, keys included.
    dims
        Further sizes by name with unit (``key_m``, ``apron_m``, ``log_diameter_m``): value.
    parts
        Footprint to scale; the first is the body.
    stone
        Stone it needs; None where it has none.
    notes
        Sentences: how the sizes came about, each saying its source or "common practice".
    """

    height_m: float
    length_m: float
    crest_m: float
    dims: Mapping[str, float] = field(default_factory=dict)
    parts: tuple[Part, ...] = ()
    stone: Stone | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Amount:
    """So much of one of `ITEMS`, without spare; ``note`` says what for."""

    item: str
    amount: float
    note: str = ""


@dataclass(frozen=True, slots=True)
class Failure:
    """One way in which a structure fails: what happens, the sign to look for, what to do."""

    what: str
    look_for: str
    then: str


class StructureType(ABC):
    """One kind of structure.

    Attributes
    ----------
    name
        As it stands in a plan: ``one-rock dam``.
    purposes
        Which of `siting.places.spot.PURPOSES` it serves.
    control
        ``vertical``, ``grade``, ``spread`` or ``refer``.
    materials_needed
        Building materials that the ranch must have.
    summary
        One sentence: what it is and does, trade terms explained.
    spacing_rules
        Which of the rules in `siting.structures.spacing_table` say how far apart a series stands.
    label
        What it is called in lists, drawings and on receivers; empty for the name.
    height_word
        What its height is called beside the number: ``high``, ``deep``.
    size_words
        What each of its sizes is, in a few words, by the name that `Size` has for it; see
        `siting.structures.type_looks` for those that most types share.
    look_first
        Sentences: what a crew looks at on site before it starts.
    needs_tailwater
        Whether what stands at a drop is undermined unless a crest below backs water to its foot. A
        type that ends in an apron of its own needs none.
    symbol
        Shape on maps; None for that of its control.
    priced_whole
        Entry of ``whole`` and ``work`` in ``costs.toml`` whose price stands for one of these with
        the earthwork and the machine, and whose productivity for the time of it; stone and other
        materials are paid for besides. Empty for a type that is priced by what it takes.
    """

    name: ClassVar[str]
    purposes: ClassVar[tuple[str, ...]]
    control: ClassVar[str]
    materials_needed: ClassVar[frozenset[str]]
    summary: ClassVar[str]
    spacing_rules: ClassVar[tuple[str, ...]] = ()
    label: ClassVar[str] = ""
    height_word: ClassVar[str] = "high"
    size_words: ClassVar[Mapping[str, str]] = MappingProxyType({})
    look_first: ClassVar[tuple[str, ...]] = ()
    needs_tailwater: ClassVar[bool] = True
    symbol: ClassVar[Symbol | None] = None
    priced_whole: ClassVar[str] = ""

    @abstractmethod
    def checks(self, spot: Spot) -> tuple[Check, ...]:
        """Hold every limit of this type against a spot."""

    def fits(self, spot: Spot) -> bool:
        """Whether every limit holds."""
        return all(check.passed for check in self.checks(spot))

    def why_not(self, spot: Spot) -> tuple[str, ...]:
        """Say in plain words why this type does not fit; empty when it does."""
        return tuple(check.why_not for check in self.checks(spot) if not check.passed)

    @abstractmethod
    def suits(self, spot: Spot) -> float:
        """How well it suits a spot that it fits, 0 to 1; the best of several is chosen."""

    @abstractmethod
    def size(self, spot: Spot) -> Size:
        """Size it for a spot."""

    def high_end_checks(self, high: Spot, size: Size) -> tuple[Check, ...]:
        """Hold what was sized for the likely flow against the high end of the flow's range.

        What fails there is a caution and lowers the chance that it holds; it refuses nothing.

        Parameters
        ----------
        high
            The place, with the high end of the range for its flow.
        size
            Size that was made for the likely flow.

        Returns
        -------
        tuple
            By default the limits of the type itself; where none needs the flow they hold as before.
        """
        return self.checks(high)

    @abstractmethod
    def materials(self, spot: Spot, size: Size) -> tuple[Amount, ...]:
        """What it takes, without spare."""

    @abstractmethod
    def cautions(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """Sentences: what to take care of here; nothing that forbids it."""

    @abstractmethod
    def build_steps(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """Build steps in their order, with this spot's sizes."""

    @abstractmethod
    def failures(self) -> tuple[Failure, ...]:
        """How it fails, and how to inspect it."""

    def side_view(self, spot: Spot, size: Size) -> tuple[Outline, ...] | None:
        """How it looks from the side, along the flow; the first part is the body.

        None, where a type does not say, draws the box of its footprint at its height.
        """
        return None

    def section(self, spot: Spot, size: Size) -> tuple[Outline, ...] | None:
        """How it looks in a section across the channel; the first part is the body.

        Empty where there is nothing to show; None as for `side_view`.
        """
        return None
