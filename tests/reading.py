"""A GeoPackage read back whole: what the tests look into."""

from __future__ import annotations

from pathlib import Path

import pyogrio

from cli.plan.fields import LAYERS
from cli.plan.geopackage_reading import read_layer
from cli.plan.layers import Layer


def read_layers(path: Path) -> dict[str, Layer]:
    """Layers and tables by name, in SI units; those that are not in the field table left out."""
    names = [str(row[0]) for row in pyogrio.list_layers(path)]
    return {name: read_layer(path, name) for name in names if name in LAYERS}
