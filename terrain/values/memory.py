"""How much memory a run needs, told before it starts rather than by the system's killer."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import psutil

from terrain.values.errors import MemoryNeedError
from terrain.values.reading_remedies import ReadingRemedy

#: Reading holds float32 heights (4) and a mask (1).
READING_BYTES_PER_CELL = 5

#: Resampling holds source and target together: two times heights and mask.
RESAMPLING_BYTES_PER_CELL = 10

#: The whole run: heights and mask (5), the conditioned surface (4), flow codes (1), drainage counts
#: (8), processing order or upstream distance (8), and temporary arrays of one step (10).
ANALYSIS_BYTES_PER_CELL = 36

#: The interpreter, libraries and compiled kernels.
BASE_BYTES = 350 * 2**20

#: Part of the free memory that a run may plan with.
USABLE_SHARE = 0.9

_CGROUP = Path("/sys/fs/cgroup")


@dataclass(frozen=True, slots=True)
class MemoryNeed:
    """Memory that a run needs and that is free, bytes."""

    cells: int
    need_bytes: int
    free_bytes: int

    @property
    def fits(self) -> bool:
        """Whether the run can be expected to fit."""
        return self.need_bytes <= self.free_bytes * USABLE_SHARE

    @property
    def sentence(self) -> str:
        """Say it in plain words."""
        return (
            f"{self.cells:,} cells need about {size_text(self.need_bytes)} of memory; "
            f"{size_text(self.free_bytes)} is free"
        )


def size_text(count: float) -> str:
    """Return a number of bytes in words, two or three figures."""
    for unit, size in (("TB", 2**40), ("GB", 2**30), ("MB", 2**20)):
        if count >= size:
            return f"{count / size:.3g} {unit}"
    return f"{max(count, 0) / 2**10:.0f} kB"


def free_bytes() -> int:
    """Memory that this process may still take: of the machine, its container and its own limit."""
    limits = [int(psutil.virtual_memory().available)]
    top, used = _number(_CGROUP / "memory.max"), _number(_CGROUP / "memory.current")
    if top is not None and used is not None:
        # The page cache counts as used but gives way.
        limits.append(top - used + (_inactive_file() or 0))
    if sys.platform != "win32":
        import resource

        soft, _ = resource.getrlimit(resource.RLIMIT_AS)
        if soft != resource.RLIM_INFINITY:
            limits.append(soft - int(psutil.Process().memory_info().vms))
    return max(0, min(limits))


def _number(path: Path) -> int | None:
    try:
        return int(path.read_text().strip())
    except (OSError, ValueError):
        return None


def _inactive_file() -> int | None:
    try:
        for line in (_CGROUP / "memory.stat").read_text().splitlines():
            if line.startswith("inactive_file "):
                return int(line.split()[1])
    except (OSError, ValueError):
        pass
    return None


def memory_need(cells: int, *, bytes_per_cell: float = ANALYSIS_BYTES_PER_CELL) -> MemoryNeed:
    """Compare what a run on so many cells needs with what is free.

    Parameters
    ----------
    cells
        Cells of the working grid.
    bytes_per_cell
        By default those of a whole run; see the constants of this module.
    """
    return MemoryNeed(cells, int(BASE_BYTES + cells * bytes_per_cell), free_bytes())


def require_memory(
    cells: int,
    *,
    do: str = ReadingRemedy.COARSER_OR_PART,
    bytes_per_cell: float = ANALYSIS_BYTES_PER_CELL,
) -> MemoryNeed:
    """Refuse a run that cannot fit.

    Parameters
    ----------
    cells
        Cells of the working grid.
    do
        What helps.
    bytes_per_cell
        Bytes a cell.

    Raises
    ------
    MemoryNeedError
        With both figures.
    """
    need = memory_need(cells, bytes_per_cell=bytes_per_cell)
    if not need.fits:
        raise MemoryNeedError(
            f"{cells:,} cells need about {size_text(need.need_bytes)} of memory",
            expected=f"at most {size_text(int(need.free_bytes * USABLE_SHARE))} of the "
            f"{size_text(need.free_bytes)} that is free",
            do=do,
        )
    return need
