"""Reads the tables of an editable settings file over those that come with the package."""

from __future__ import annotations

import functools
import math
import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from siting.values.input_errors import RulesError
from terrain.values.errors import GullywalkError

Entry = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class SettingsText:
    """The content of a settings file that is kept somewhere else, such as in a plan.

    Parameters
    ----------
    name
        Name of the file that it came from.
    text
        TOML.
    """

    name: str
    text: str


#: Where settings are read from: a file, or the text of one.
Source = str | os.PathLike[str] | SettingsText


def source_name(source: Source) -> str:
    """Name of a settings file without its folder."""
    return source.name if isinstance(source, SettingsText) else Path(source).name


def source_text(source: Source) -> str:
    """Content of a settings file.

    Raises
    ------
    OSError, UnicodeDecodeError
        It cannot be read.
    """
    return source.text if isinstance(source, SettingsText) else Path(source).read_text("utf-8")


@functools.cache
def own_file(name: str) -> dict[str, Any]:
    """Return a settings file of this package; treat it as read-only."""
    return tomllib.loads(resources.files("siting").joinpath(name).read_text("utf-8"))


def read_settings(
    source: Source,
    own: Mapping[str, Any],
    *,
    texts: tuple[str, ...] = (),
    open_groups: tuple[str, ...] = (),
    error: type[GullywalkError] = RulesError,
) -> dict[str, Any]:
    """Read a user's settings file and check its version and the names in it.

    Parameters
    ----------
    source
        A TOML file with all or some of the tables of the own one, or its text.
    own
        The package's file of the same kind.
    texts
        Names of entries beside the tables, such as a currency; the caller checks them.
    open_groups
        Groups that may hold entries of other names; the caller checks them.
    error
        Raised when the file cannot be used.

    Raises
    ------
    GullywalkError
        Of the given kind: it cannot be read, is of another version, or holds a name that is not
        known.
    """
    name = source_name(source)
    try:
        text = source_text(source)
    except (OSError, UnicodeDecodeError) as fault:
        raise error(
            f"{name} cannot be read ({type(fault).__name__})", expected="a TOML text file"
        ) from fault
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise error(f"{name} is not valid TOML: {fault}", expected="a TOML file") from fault
    version, current = given.get("version"), own["version"]
    whole = isinstance(version, int) and not isinstance(version, bool)
    if not whole or version != current:
        older = whole and version < current
        raise error(
            f"{name} is of version {version}" + (", an older one" if older else "")
            if version is not None
            else f"{name} states no version",
            expected=f"version = {current}",
            do="start from a fresh copy of the file that comes with the package",
        )
    for group, entries in given.items():
        if group == "version" or group in texts:
            continue
        if group not in own or not isinstance(entries, dict):
            raise error(
                f"{name} holds [{group}], which is not known",
                expected="one of " + ", ".join(g for g, e in own.items() if isinstance(e, dict)),
            )
        for key, entry in entries.items():
            known = key in own[group] or group in open_groups
            if not known or not isinstance(entry, dict):
                raise error(
                    f"{name} holds {group}.{key}, which is not known",
                    expected="one of " + ", ".join(f"{group}.{k}" for k in own[group]),
                )
    return given


def number(entry: Entry, key: str, where: str) -> float:
    """Return a finite number of an entry.

    Raises
    ------
    RulesError
        It is missing, no number, or not finite.
    """
    value = entry.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        found = f"{where} has no {key}" if value is None else f"{where}: {key} is {value!r}"
        raise RulesError(found, expected="a number")
    return float(value)


def words(entry: Entry, key: str, where: str) -> str:
    """Return a text of an entry.

    Raises
    ------
    RulesError
        It is missing or empty.
    """
    value = entry.get(key)
    if not isinstance(value, str) or not value.strip():
        raise RulesError(f"{where} has no {key}", expected=f'{key} = "..."')
    return value.strip()
