"""How kernels are compiled: lazily, cached on disk, without Python's lock."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

Function = TypeVar("Function", bound=Callable[..., Any])


def _writable(folder: Path) -> bool:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def _cache_folder() -> str | None:
    """Return a folder for compiled kernels when the default one beside the code is read-only.

    numba raises where it finds no writable cache folder, so one is chosen before it is imported.
    """
    if os.environ.get("NUMBA_CACHE_DIR"):
        return None
    if _writable(Path(__file__).parent / "__pycache__"):
        return None
    candidates = [Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache")) / "gullywalk"]
    candidates.append(Path(tempfile.gettempdir()) / f"gullywalk-kernels-{os.getuid()}")
    for folder in candidates:
        if _writable(folder):
            return str(folder)
    return None


if (_folder := _cache_folder()) is not None:
    os.environ["NUMBA_CACHE_DIR"] = _folder

import numba  # noqa: E402  (the cache folder must be settled first)


def kernel(function: Function) -> Function:
    """Compile a function on its first call and keep the machine code for the next process.

    What comes back is called like the function, so that calls are checked against its types.
    """
    return cast(Function, numba.njit(cache=True, nogil=True, error_model="numpy")(function))
