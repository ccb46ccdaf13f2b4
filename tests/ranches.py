"""Invented ranches that several tests read, generated once: each takes two to three seconds.

The tests of the generator itself never take one from here.
"""

from __future__ import annotations

import contextlib
import inspect
import os
import pickle
import tempfile
from pathlib import Path
from typing import Any

from sample_dem import generator
from sample_dem.generator import Ranch, make_ranch
from tests.kept import kept_folder


def kept_ranch(seed: int, **options: Any) -> Ranch:
    """Give the same as `make_ranch`, from the disk where it was made before."""
    folder = kept_folder("ranches", Path(generator.__file__).parent)
    given = inspect.signature(make_ranch).bind(seed, **options)
    given.apply_defaults()
    path = folder / ("_".join(str(v) for v in given.arguments.values()) + ".pickle")
    with contextlib.suppress(FileNotFoundError), open(path, "rb") as file:
        kept: Ranch = pickle.load(file)
        for array in (kept.elevation, kept.clean):
            array.setflags(write=False)
        return kept
    ranch = make_ranch(seed, **options)
    # written beside and moved, since several workers may make the same one
    with tempfile.NamedTemporaryFile(dir=folder, delete=False) as part:
        pickle.dump(ranch, part, protocol=pickle.HIGHEST_PROTOCOL)
    os.replace(part.name, path)
    return ranch
