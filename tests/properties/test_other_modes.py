"""The tests of kernels once more: interpreted, and compiled with indices checked."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.kept import kept_folder

ROOT = Path(__file__).resolve().parents[2]
MODULES = ("test_kernels", "test_flow", "test_conditioning", "test_channels")


def run_again(**environment: str) -> None:
    """Run the modules in a process of its own and fail with what it says."""
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider"]
    command += [f"tests/terrain/{m}.py" for m in MODULES]
    done = subprocess.run(
        command,
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]


def test_interpreted() -> None:
    run_again(NUMBA_DISABLE_JIT="1")


@pytest.mark.slow
def test_with_indices_checked() -> None:
    """Compiled into a folder of its own, so that no unchecked code is taken from the cache.

    That it is checked code that runs is asserted by one of the tests themselves.
    """
    folder = kept_folder("kernels_checked", ROOT / "terrain" / "_kernels")
    run_again(NUMBA_BOUNDSCHECK="1", NUMBA_CACHE_DIR=str(folder), NUMBA_OPT="1")
