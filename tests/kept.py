"""Folders for what takes long to make: kept beside pytest's own cache from one run to the next.

A folder goes by the sources that what it holds was made from and by the versions of the libraries
that made it. A change of either makes all of it anew, and what was older is taken away.
"""

from __future__ import annotations

import functools
import hashlib
import importlib.metadata
import platform
import shutil
from pathlib import Path

KEPT = Path(__file__).resolve().parents[1] / ".pytest_cache"


@functools.cache
def kept_folder(what: str, *sources: Path) -> Path:
    """Give a folder for what is made by the Python files of others.

    Parameters
    ----------
    what
        Name of the folder.
    *sources
        Folders of the files that make it.
    """
    digest = hashlib.sha256(f"{platform.python_version()} {platform.machine()}".encode())
    for library in ("llvmlite", "numba", "numpy", "scipy"):
        digest.update(importlib.metadata.version(library).encode())
    for source in (file for folder in sources for file in sorted(folder.glob("*.py"))):
        digest.update(source.read_bytes())
    folder = KEPT / what / digest.hexdigest()[:16]
    folder.mkdir(parents=True, exist_ok=True)
    for older in folder.parent.iterdir():
        if older != folder:
            shutil.rmtree(older, ignore_errors=True)
    return folder
