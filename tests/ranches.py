"""Invented ranches that several tests read: generated once and kept beside pytest's own cache.

A ranch takes two to three seconds. What is kept goes by the generator's source and by the versions
of what it computes with, so that a change of either makes all of them anew. The tests of the
generator itself never take one from here.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import importlib.metadata
import inspect
import os
import pickle
import platform
import shutil
import tempfile
from pathlib import Path
from typing import Any

from sample_dem import generator
from sample_dem.generator import Ranch, make_ranch

KEPT = Path(__file__).resolve().parents[1] / ".pytest_cache" / "ranches"


@functools.cache
def _made_by() -> str:
    """A name for the generator as it is."""
    digest = hashlib.sha256(platform.python_version().encode())
    for library in ("numba", "numpy", "scipy"):
        digest.update(importlib.metadata.version(library).encode())
    for source in sorted(Path(generator.__file__).parent.glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


def kept_ranch(seed: int, **options: Any) -> Ranch:
    """Give the same as `make_ranch`, from the disk where it was made before."""
    folder = KEPT / _made_by()
    given = inspect.signature(make_ranch).bind(seed, **options)
    given.apply_defaults()
    path = folder / ("_".join(str(v) for v in given.arguments.values()) + ".pickle")
    with contextlib.suppress(FileNotFoundError), open(path, "rb") as file:
        ranch: Ranch = pickle.load(file)
        for array in (ranch.elevation, ranch.clean):
            array.setflags(write=False)
        return ranch
    ranch = make_ranch(seed, **options)
    folder.mkdir(parents=True, exist_ok=True)
    for older in KEPT.iterdir():
        if older != folder:
            shutil.rmtree(older, ignore_errors=True)
    # written beside and moved, since several workers may make the same one
    with tempfile.NamedTemporaryFile(dir=folder, delete=False) as file:
        pickle.dump(ranch, file, protocol=pickle.HIGHEST_PROTOCOL)
    os.replace(file.name, path)
    return ranch
