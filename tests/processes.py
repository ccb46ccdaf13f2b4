"""Programs that a test starts: ended with it, and open to signals whoever started the tests."""

from __future__ import annotations

import contextlib
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

REPOSITORY = Path(__file__).parents[1]
#: How long a program may take to answer a signal, s. It is only waited for where one hangs.
PATIENCE_S = 120


@contextlib.contextmanager
def running(*arguments: str) -> Iterator[subprocess.Popen[str]]:
    """Run Python with arguments in the checkout; what still runs at the end is killed.

    A shell that starts the tests in the background lets them ignore SIGINT, and every program that
    they start would ignore it as well. So the usual handler stands while the program starts.
    """
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        process = subprocess.Popen(
            [sys.executable, *arguments],
            cwd=REPOSITORY,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
    finally:
        signal.signal(signal.SIGINT, before)
    with process:
        try:
            yield process
        finally:
            process.kill()
