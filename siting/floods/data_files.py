"""Reads the package's own data files."""

from __future__ import annotations

import functools
import tomllib
from importlib import resources
from typing import Any


@functools.cache
def data_file(name: str) -> dict[str, Any]:
    """Return the content of a TOML file of this package; treat it as read-only."""
    return tomllib.loads(resources.files("siting.floods").joinpath(name).read_text("utf-8"))
