"""Plug-ins from entry points: one loader for flow engines, flood methods, structures and steps.

Built-ins register the same way as everyone else's. A plug-in that cannot be loaded is set aside
and named; it stops nothing but its own use.
"""

from __future__ import annotations

import functools
import importlib.metadata
import inspect
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from terrain.values.errors import GullywalkError

T = TypeVar("T")
R = TypeVar("R")

FLOW_ENGINES = "gullywalk.flow_engines"
FLOOD_METHODS = "gullywalk.flood_methods"
STRUCTURES = "gullywalk.structures"
STEPS = "gullywalk.steps"

#: Entry points, each behind its name, its value and the package it comes from.
_Listed = tuple[tuple[tuple[str, str, str], importlib.metadata.EntryPoint], ...]
#: Plug-ins may leave Python through SystemExit as well; Ctrl-C and lack of memory go through.
_FAULTS = (Exception, SystemExit)


class PluginError(GullywalkError, RuntimeError):
    """A plug-in that is unknown, named twice, cannot be loaded, or failed at its work."""


@dataclass(frozen=True, slots=True)
class BrokenPlugin:
    """A plug-in that could not be loaded.

    Parameters
    ----------
    name
        Name it is registered under.
    source
        Where it comes from: package and object.
    why
        What went wrong, as one plain clause.
    """

    name: str
    source: str
    why: str

    def __str__(self) -> str:
        return f"{self.name} ({self.source}): {self.why}"


@dataclass(frozen=True, slots=True)
class Plugin(Generic[T]):
    """A plug-in that works, as far as loading shows."""

    name: str
    source: str
    value: T


@dataclass(frozen=True, slots=True)
class Plugins(Generic[T]):
    """All plug-ins of one group, by name.

    Parameters
    ----------
    kind
        What they are, in plain words: ``flow engine``.
    working, broken
        Sorted by name.
    """

    kind: str
    working: tuple[Plugin[T], ...]
    broken: tuple[BrokenPlugin, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of those that work."""
        return tuple(p.name for p in self.working)

    def __iter__(self) -> Iterator[T]:
        return (p.value for p in self.working)

    def __getitem__(self, name: str) -> T:
        """Return the plug-in of a name.

        Raises
        ------
        PluginError
            No plug-in has that name, or the one that has it is broken.
        """
        for plugin in self.working:
            if plugin.name == name:
                return plugin.value
        there = f"one of: {', '.join(self.names) or 'none is installed'}"
        for broken in self.broken:
            if broken.name == name:
                raise PluginError(
                    f"the {self.kind} {str(broken).rstrip('.')}",
                    expected=there,
                    do="choose another one, or mend or remove the package it comes from",
                )
        raise PluginError(f"there is no {self.kind} named {name!r}", expected=there)

    def warnings(self) -> tuple[str, ...]:
        """One plain sentence for each plug-in that was set aside."""
        return tuple(f"The {self.kind} {broken} It is left out." for broken in self.broken)


def load_plugins(
    group: str,
    *,
    kind: str,
    needs: Iterable[str] = (),
    check: Callable[[Any], str] | None = None,
    entries: Iterable[importlib.metadata.EntryPoint] | None = None,
) -> Plugins[Any]:
    """Load every plug-in of a group.

    An entry point names an object, or a class that is called without arguments.

    Parameters
    ----------
    group
        Entry-point group.
    kind
        What the plug-ins are, in plain words, for messages.
    needs
        Attributes and methods that a plug-in must have; ``name``, where asked for, must be the
        name it is registered under.
    check
        A further check: returns why a plug-in cannot be used, or an empty string.
    entries
        The entry points, instead of those of the installed packages.

    Raises
    ------
    PluginError
        When two plug-ins have one name.
    """
    if entries is None:
        listed = _installed(group, tuple(sys.path), importlib.metadata.entry_points)
    else:
        listed = _sorted(entries)
    for (first, value, package), (second, other_value, other_package) in zip(
        [key for key, _ in listed], [key for key, _ in listed[1:]], strict=False
    ):
        if first == second:
            raise PluginError(
                f"two plug-ins are named {first!r} as {kind}: "
                f"{value} of {package} and {other_value} of {other_package}",
                expected="one name for one plug-in",
                do="remove one of the two packages",
            )
    working: list[Plugin[Any]] = []
    broken: list[BrokenPlugin] = []
    for (name, value, package), entry in listed:
        source = f"{value} of {package}"
        try:
            plugin = entry.load()
            plugin = plugin() if inspect.isclass(plugin) else plugin
            why = _lack(plugin, name, tuple(needs)) or (check(plugin) if check else "")
        except ImportError as error:
            why = f"a library it needs cannot be imported: {_clause(error)}."
        except _FAULTS as error:
            why = f"it failed when loaded: {type(error).__name__}: {_clause(error)}."
        if why:
            broken.append(BrokenPlugin(name, source, why))
        else:
            working.append(Plugin(name, source, plugin))
    return Plugins(kind, tuple(working), tuple(broken))


def call_plugin(kind: str, name: str, work: Callable[[], R]) -> R:
    """Call something of a plug-in, so that whatever it raises names the plug-in.

    Raises
    ------
    PluginError
        When the plug-in raises anything but one of this project's own errors, which already say
        what to do. Running out of memory and Ctrl-C go through.
    """
    try:
        return work()
    except (GullywalkError, MemoryError):
        raise
    except _FAULTS as error:
        raise PluginError(
            f"the {kind} {name!r} failed: {type(error).__name__}: {_clause(error)}",
            do=f"choose another {kind}, or tell the people who wrote it",
        ) from error


@functools.lru_cache(maxsize=64)
def _installed(group: str, path: tuple[str, ...], look: Callable[..., Any]) -> _Listed:
    """Entry points of a group, looked up once for a search path: every package is read for it."""
    return _sorted(look(group=group))


def _sorted(entries: Iterable[importlib.metadata.EntryPoint]) -> _Listed:
    """Entry points with their name, value and package, each once."""
    return tuple(sorted({(e.name, e.value, _package(e)): e for e in entries}.items()))


def _package(entry: importlib.metadata.EntryPoint) -> str:
    """Name of the package an entry point comes from."""
    dist = getattr(entry, "dist", None)
    return str(dist.name) if dist is not None else "an unknown package"


def _lack(plugin: Any, name: str, needs: tuple[str, ...]) -> str:
    """Why a plug-in does not follow its protocol; empty when it does."""
    missing = [n for n in needs if not hasattr(plugin, n)]
    if missing:
        return f"it lacks {', '.join(missing)}."
    if "name" in needs and plugin.name != name:
        return f"it is registered as {name!r} and calls itself {plugin.name!r}."
    return ""


def _clause(error: BaseException) -> str:
    """First line of an error's text, without a full stop."""
    text = str(error).strip()
    return text.splitlines()[0].rstrip(".") if text else "no reason given"
