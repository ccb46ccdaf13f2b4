"""Folders for what takes long to make: kept beside pytest's own cache from one run to the next.

A folder goes by the sources that what it holds was made from and by the versions of the libraries
that made it. A change of either makes all of it anew, and what was older is taken away.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import importlib.metadata
import platform
import shutil
from collections.abc import Iterator
from pathlib import Path

try:
    import fcntl
except ImportError:  # another system: workers may make the same twice
    fcntl = None  # type: ignore[assignment]

KEPT = Path(__file__).resolve().parents[1] / ".pytest_cache"


@functools.cache
def kept_folder(what: str, *sources: Path) -> Path:
    """Give a folder for what is made by the Python files of other ones.

    Parameters
    ----------
    what
        Name of the folder.
    sources
        Folders of the Python files that make it, and single files that it is made from.
    """
    digest = hashlib.sha256(f"{platform.python_version()} {platform.machine()}".encode())
    for library in ("llvmlite", "numba", "numpy", "scipy"):
        digest.update(importlib.metadata.version(library).encode())
    for source in sources:
        for file in sorted(source.glob("*.py")) if source.is_dir() else [source]:
            digest.update(file.read_bytes())
    folder = KEPT / what / digest.hexdigest()[:16]
    folder.mkdir(parents=True, exist_ok=True)
    for older in folder.parent.iterdir():
        if older != folder:
            shutil.rmtree(older, ignore_errors=True)
    return folder


@contextlib.contextmanager
def one_at_a_time(folder: Path) -> Iterator[None]:
    """Let only one worker at a time make something in a folder; the others wait."""
    with open(folder / "lock", "w") as lock:
        if fcntl is not None:
            fcntl.flock(lock, fcntl.LOCK_EX)
        yield
