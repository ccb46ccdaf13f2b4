"""All structure types that are installed, and the choice among them at one spot."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from importlib.metadata import EntryPoint
from types import MappingProxyType
from typing import Any

from siting.places.spot import MATERIALS, PURPOSES, Spot
from siting.places.unseen_width import at_each_end, end_words
from siting.structures.limit_checks import condition
from siting.structures.structure_type import Check, StructureType
from siting.structures.type_looks import KIND, needs_tailwater, symbol_fault, symbol_of
from siting.structures.whole_price import whole_price_fault
from siting.values.wording import alike, listed, spanned
from terrain.values.plugins import STRUCTURES, Plugins, call_plugin, load_plugins

REFER = "refer"
#: Limit of the width itself, whose words name the end of it that fails.
WIDTH_RULE = "hand_work.channel_width"
CONTROLS = ("vertical", "grade", "spread", REFER)
#: Control of a site that waits until it is measured again, or for its partner.
HOLD = "hold"
#: Names that a plan uses for places where nothing is built; no other package may take them.
RESERVED = ("engineer", "complete the DEM", "settle on site first", "nothing")
NEEDS = (
    "name",
    "purposes",
    "control",
    "materials_needed",
    "summary",
    "checks",
    "fits",
    "why_not",
    "suits",
    "size",
    "materials",
    "cautions",
    "build_steps",
    "failures",
)
_OWN = "siting.structures."


@dataclass(frozen=True, slots=True)
class Chosen:
    """What the types said at one spot.

    Parameters
    ----------
    type
        The best that fits; None where none does.
    checks
        Every limit that was held against the place, by name of the type.
    why_not
        Why each of the others is not chosen, in sentences, by name of the type.
    """

    type: StructureType | None
    checks: Mapping[str, tuple[Check, ...]]
    why_not: Mapping[str, tuple[str, ...]]


def structure_types(
    entries: Iterable[EntryPoint] | None = None, *, wholes: Collection[str] | None = None
) -> Plugins[StructureType]:
    """Load every installed structure type; one that cannot be used is set aside and named.

    Parameters
    ----------
    entries
        Entry points instead of those of the installed packages.
    wholes
        Entries by which a type may be priced as a whole (`siting.works.costs.Costs.wholes`); those
        of the package by default.

    Raises
    ------
    PluginError
        Two types have one name.
    """
    return load_plugins(
        STRUCTURES, kind=KIND, needs=NEEDS, check=partial(_fault, wholes=wholes), entries=entries
    )


def choose(spot: Spot, types: Iterable[StructureType]) -> Chosen:
    """Choose among types at one spot.

    Of those that fit, the one that says it suits the spot best; of equals the first by name. A type
    whose control is ``refer`` takes no part: where none fits, nothing is chosen.

    Raises
    ------
    PluginError
        A type fails at its work, or gives a suitability outside 0 to 1.
    """
    taking_part = sorted((t for t in types if t.control != REFER), key=lambda t: t.name)
    checks: dict[str, tuple[Check, ...]] = {}
    suits: dict[str, float] = {}
    for kind in taking_part:
        held = call_plugin(KIND, kind.name, partial(_checks, kind, spot))
        checks[kind.name] = held
        if all(check.passed for check in held):
            suits[kind.name] = call_plugin(KIND, kind.name, partial(_suits, kind, spot))
    best = max(suits, key=lambda name: suits[name], default="")
    chosen = next((t for t in taking_part if t.name == best), None)
    why_not = {
        t.name: _why_not(t.name, checks[t.name], best) for t in taking_part if t is not chosen
    }
    return Chosen(chosen, MappingProxyType(checks), MappingProxyType(why_not))


def _why_not(name: str, checks: tuple[Check, ...], best: str) -> tuple[str, ...]:
    failed = tuple(check.why_not for check in checks if not check.passed)
    return failed or (f"A {name} would fit as well; a {best} suits the place better.",)


def _checks(kind: StructureType, spot: Spot) -> tuple[Check, ...]:
    """Every limit; where nobody saw the width, at the end of it that hurts."""
    held = [(*kind.checks(s), *_tailwater_check(kind, s)) for s in at_each_end(spot)]
    return at_the_worse(end_words(spot), held)


def at_the_worse(words: Sequence[str], held: Sequence[tuple[Check, ...]]) -> tuple[Check, ...]:
    """Put the checks at both ends of a width that nobody saw into one of each limit.

    A type that asks for more at one end has all of it held.

    Parameters
    ----------
    words
        Each end in words; see `siting.places.unseen_width.end_words`.
    held
        Checks there; one or two of them.
    """
    if len(held) == 1:
        return held[0]
    (first, last), (low, high) = words, held
    out: list[Check] = []
    at = 0
    for check in low:
        match = next((i for i in range(at, len(high)) if _of_one_limit(check, high[i])), None)
        if match is None:
            out.append(_named(first, check))
            continue
        out += [_named(last, other) for other in high[at:match]]
        out.append(_worse(words, (check, high[match])))
        at = match + 1
    return (*out, *(_named(last, other) for other in high[at:]))


def _of_one_limit(low: Check, high: Check) -> bool:
    return low.rule == high.rule and (bool(low.rule) or alike(low.asks, high.asks))


def _worse(words: Sequence[str], ends: tuple[Check, Check]) -> Check:
    """Of one limit at both ends the one that fails, else the first with figures as ranges."""
    failing = [(word, check) for word, check in zip(words, ends, strict=True) if not check.passed]
    if len(failing) == 1:
        word, check = failing[0]
        return check if check.rule == WIDTH_RULE else replace(check, why_not=_at(word, check))
    asks, found, why = (
        spanned(*(getattr(c, name) for c in ends)) for name in ("asks", "found", "why_not")
    )
    if failing and not alike(*(check.why_not for check in ends)):
        why = _at(*failing[0])
    return replace(ends[0], asks=asks, found=found, why_not=why)


def _named(word: str, check: Check) -> Check:
    """A check that is held at one end only, and says so."""
    asks = f"{check.asks} ({word[:1].lower()}{word[1:]})"
    return replace(check, asks=asks, why_not=_at(word, check) if check.why_not else "")


def _at(word: str, check: Check) -> str:
    return f"{word}: {check.why_not}"


def _tailwater_check(kind: StructureType, spot: Spot) -> tuple[Check, ...]:
    """At a drop to which no water can be backed a type that needs it does not stand."""
    if not (spot.task.dry and spot.task.purpose == "vertical"):
        return ()
    return (
        condition(
            not needs_tailwater(kind),
            asks="water backed to the foot of the drop, or a type that needs none",
            found="no water backed to it",
            why_not=f"A {kind.name} is undermined without water backed to its foot, and no crest "
            "below reaches it here.",
        ),
    )


def _suits(kind: StructureType, spot: Spot) -> float:
    value = float(kind.suits(spot))
    if not 0 <= value <= 1:
        raise ValueError(f"it suits by {value:g}, not 0 to 1")
    return value


def _fault(kind: Any, wholes: Collection[str] | None = None) -> str:
    """Why a type cannot be used; empty when it can."""
    own = type(kind).__module__.startswith(_OWN)
    if not own and kind.name in RESERVED:
        return f"the name {kind.name!r} is reserved."
    if kind.control not in CONTROLS:
        return f"its control is {kind.control!r}, not one of {listed(list(CONTROLS))}."
    if not own and kind.control == REFER:
        return "referring to an engineer is not left to other packages."
    if not kind.purposes or set(kind.purposes) - set(PURPOSES):
        return f"its purposes are {tuple(kind.purposes)!r}, not some of {listed(list(PURPOSES))}."
    if set(kind.materials_needed) - set(MATERIALS):
        return (
            f"it needs {listed(sorted(kind.materials_needed))}; known are "
            f"{listed(list(MATERIALS))}."
        )
    if not str(kind.summary).strip():
        return "it has no summary."
    return symbol_fault(symbol_of(kind)) or whole_price_fault(kind, wholes)
