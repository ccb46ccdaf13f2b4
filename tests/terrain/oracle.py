"""Slow plain-Python references, written from the rules and sharing no code with the kernels.

Everything works on small arrays with NaN in voids. Heaps come from `heapq`, sets of cells are
dictionaries, and every rule stands where it is used, so that a reader can check it by eye.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

import numpy as np

STEPS = [(-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1)]
SIDES_FIRST = [0, 2, 4, 6, 1, 3, 5, 7]
OUTLET, OPEN_END, VOID = 8, 9, 255

Cell = tuple[int, int]


def neighbours(shape: tuple[int, int], cell: Cell):
    """Code and place of each neighbour inside the raster."""
    for code, (dr, dc) in enumerate(STEPS):
        r, c = cell[0] + dr, cell[1] + dc
        if 0 <= r < shape[0] and 0 <= c < shape[1]:
            yield code, (r, c)


def moved(cell: Cell, code: int) -> Cell:
    return cell[0] + STEPS[code][0], cell[1] + STEPS[code][1]


def touches_outside(z: np.ndarray, cell: Cell) -> bool:
    near = list(neighbours(z.shape, cell))
    return len(near) < 8 or any(np.isnan(z[n]) for _, n in near)


def steepest(z: np.ndarray, cell: Cell, height_m: float, width_m: float) -> int | None:
    """Code of the steepest way down in single precision, the first of equals; None when none."""
    lengths = (height_m, float(np.hypot(height_m, width_m)), width_m)
    best, code = np.float32(0), None
    for k, n in neighbours(z.shape, cell):
        if np.isnan(z[n]):
            continue
        length = lengths[1] if k % 2 else lengths[0] if k in (0, 4) else lengths[2]
        slope = (z[cell] - z[n]) * np.float32(1 / length)
        if slope > best:
            best, code = slope, k
    return code


def raw_codes(z: np.ndarray, height_m: float = 1.0, width_m: float = 1.0) -> np.ndarray:
    """Steepest codes; 8 for an edge cell and 9 for an inner cell with no lower neighbour."""
    codes = np.empty(z.shape, dtype=np.uint8)
    for cell in np.ndindex(z.shape):
        code = None if np.isnan(z[cell]) else steepest(z, cell, height_m, width_m)
        if np.isnan(z[cell]):
            codes[cell] = VOID
        elif code is not None:
            codes[cell] = code
        else:
            codes[cell] = OUTLET if touches_outside(z, cell) else OPEN_END
    return codes


@dataclass
class Way:
    """A way out: cells that drain along codes at one level, and how deep and long it cuts."""

    level: np.float32
    steps: list[tuple[Cell, int]]
    depth: float = 0.0
    length: float = 0.0


@dataclass
class Depression:
    """A pit of one cell or a closed flat: where it starts, and its number among all."""

    cells: list[Cell]
    is_flat: bool
    number: int
    level: np.float32


@dataclass
class Conditioning:
    """Decide depression by depression, from the lowest pass to the highest.

    What is decided stands: a fill raises all that hangs together below its pass, so a way that
    it covers or cuts off belongs to a depression with a pass as high or higher, which comes
    later. Of equal passes the depression that starts lower comes first.
    """

    z: np.ndarray
    codes: np.ndarray
    height_m: float
    width_m: float
    limits: tuple[float, float]
    ways: dict[int, Way] = field(default_factory=dict)
    fills: list[tuple[Cell, np.float32]] = field(default_factory=list)

    def run(self) -> None:
        self.filled = self.z.copy()
        self.drained = {c for c in np.ndindex(self.z.shape) if self.codes[c] <= OUTLET}
        self.bottom: dict[Cell, np.float32] = {}  # of raised cells: where the depression started
        self.across = drain_flats(self.filled, self.codes, {})
        self.depressions = self.find_depressions()
        self.whose = {c: d for d in self.depressions for c in d.cells}
        passes = [self.way_out(d, np.inf, np.inf)[1] for d in self.depressions]

        def turn(d: Depression) -> tuple[np.float32, np.float32, int]:
            return passes[d.number], d.level, d.number

        # what is too deep to cut needs no search, so it comes first; it changes no other pass
        deep = [d for d in self.depressions if passes[d.number] - d.level > self.limits[0]]
        self.fill(sorted(deep, key=lambda d: (d.level, d.number)), passes)
        for d in sorted(self.depressions, key=turn):
            if d in deep or self.filled[d.cells[0]] > d.level:
                continue  # settled, or under the water of another one
            way, _ = self.way_out(d, self.limits[1], passes[d.number])
            if way is not None:
                self.ways[d.number] = way
            else:
                self.fill([d], passes)
        # a fill may have come to cover a way's start, but never only a part of the way
        for d in self.depressions:
            if self.filled[d.cells[0]] > d.level:
                self.ways.pop(d.number, None)
        self.fills = [(c, level) for c, level in self.fills if self.filled[c] == level]

    def find_depressions(self) -> list[Depression]:
        """All pits and closed flats, flats first, each kind in raster order.

        A flat that touches a drained cell of its level drains as well and is none.
        """
        flats, pits = [], []
        seen: set[Cell] = set()
        for cell in map(tuple, np.argwhere(self.codes == OPEN_END).tolist()):
            if cell in seen:
                continue
            group = self.flat_around(cell)
            seen.update(group)
            if any(self.beside_drained(c) is not None for c in group):
                self.drained.update(group)
            else:
                (flats if len(group) > 1 else pits).append(group)
        return [
            Depression(group, len(group) > 1, i, self.z[group[0]])
            for i, group in enumerate(flats + pits)
        ]

    def beside_drained(self, cell: Cell) -> int | None:
        for k in SIDES_FIRST:
            near = moved(cell, k)
            if self.z[near] == self.z[cell] and self.codes[near] <= OUTLET:
                return k
        return None

    def flat_around(self, start: Cell) -> list[Cell]:
        """Open-ended cells of one level that hang together, nearest first, sides before corners."""
        group = [start]
        known = {start}
        for cell in group:
            for k in SIDES_FIRST:
                near = moved(cell, k)
                if near in known or self.codes[near] != OPEN_END:
                    continue
                if self.z[near] == self.z[start]:
                    known.add(near)
                    group.append(near)
        return group

    def may_end(self, cell: Cell, d: Depression) -> bool:
        here = self.filled[cell]
        if here < d.level or touches_outside(self.z, cell):
            return True
        if here != d.level:
            return False
        if here > self.z[cell] or cell in self.drained:
            return True
        return cell in self.whose and self.whose[cell].number < d.number

    def way_out(
        self, d: Depression, furthest: float, highest: float
    ) -> tuple[Way | None, np.float32]:
        """Search lowest first, equals in the order met, no further and no higher than that.

        Returns the way, if there is one, and the level of its pass.
        """
        came: dict[Cell, int | None] = dict.fromkeys(d.cells)
        far = dict.fromkeys(d.cells, 0.0)
        heap: list[tuple[np.float32, int, Cell]] = []
        met = 0
        spill = d.level

        def look_around(cell: Cell) -> None:
            nonlocal met
            # across a lake that runs lower than the start there is one way only, its own
            straight = self.bottom.get(cell, np.inf) < d.level
            for k, near in neighbours(self.z.shape, cell):
                if straight and k != self.across[cell]:
                    continue
                if near not in came:
                    came[near] = k
                    far[near] = far[cell] + self.step_m(k) * bool(self.filled[near] > d.level)
                    if far[near] <= furthest:
                        heapq.heappush(heap, (self.filled[near], met, near))
                        met += 1

        for cell in d.cells:
            look_around(cell)
        while heap and heap[0][0] <= highest:
            here, _, cell = heapq.heappop(heap)
            spill = max(spill, here)
            if self.may_end(cell, d):
                return self.walk_back(cell, d.level, came), spill
            look_around(cell)
        return None, spill

    def step_m(self, k: int) -> float:
        return float(np.hypot(STEPS[k][0] * self.height_m, STEPS[k][1] * self.width_m))

    def fill(self, depressions: list[Depression], passes: list[np.float32]) -> None:
        """Raise all that hangs together below the pass, then drain the water on top."""
        inside: list[Cell] = []
        for d in depressions:
            start, level, lowest = d.cells[0], passes[d.number], self.filled[d.cells[0]]
            self.fills.append((start, level))
            fresh = [start] if lowest < level else []
            for cell in fresh:
                self.filled[cell] = level
                self.bottom[cell] = lowest
                fresh += [
                    n
                    for _, n in neighbours(self.z.shape, cell)
                    if self.filled[n] < level and n not in fresh
                ]
            inside += fresh
        # level ground that drained into what was raised loses its directions and gets new ones
        codes = raw_codes(self.filled, self.height_m, self.width_m)
        lost = set(inside) | {c for c in np.ndindex(codes.shape) if codes[c] != OPEN_END}
        kept = {c: k for c, k in self.across.items() if c not in lost}
        while gone := [
            c for c, k in kept.items() if codes[moved(c, k)] == OPEN_END and moved(c, k) not in kept
        ]:
            for cell in gone:
                del kept[cell]
        self.across = drain_flats(self.filled, codes, kept)

    def walk_back(self, end: Cell, level: np.float32, came: dict[Cell, int | None]) -> Way:
        """Codes from the source to the end; only ground above the level is cut."""
        path = [end]
        steps: list[tuple[Cell, int]] = []
        while (k := came[path[-1]]) is not None:
            before = path[-1][0] - STEPS[k][0], path[-1][1] - STEPS[k][1]
            steps.append((before, k))
            path.append(before)
        steps.reverse()
        if self.filled[end] > level:
            steps.append((end, OUTLET))
        depth = float(max(max(self.filled[c] for c in path) - level, np.float32(0)))
        length = 0.0
        for cell in path[:-1]:
            if self.filled[cell] > level:
                length += self.step_m(came[cell])  # type: ignore[arg-type]
        return Way(level, steps, depth, length)


def drain_flats(z: np.ndarray, codes: np.ndarray, known: dict[Cell, int]) -> dict[Cell, int]:
    """Codes across level ground: from where it drains inwards, ring by ring.

    ``codes`` has 9 in cells without a way down; those in ``known`` have theirs already.
    """
    ring: dict[Cell, int] = {}
    for cell in map(tuple, np.argwhere(codes == OPEN_END).tolist()):
        for k in SIDES_FIRST:
            near = moved(cell, k)
            drains = codes[near] <= OUTLET or near in known
            if cell not in known and cell not in ring and z[near] == z[cell] and drains:
                ring[cell] = k
    given = {**known, **ring}
    while ring:
        beyond: dict[Cell, int] = {}
        for cell in ring:
            for _, near in neighbours(z.shape, cell):
                if codes[near] == OPEN_END and near not in given and z[near] == z[cell]:
                    ways = [
                        k
                        for k in SIDES_FIRST
                        if moved(near, k) in given and z[moved(near, k)] == z[near]
                    ]
                    beyond[near] = ways[0]
        given.update(beyond)
        ring = beyond
    return given


@dataclass
class Reference:
    """A conditioned surface, its codes, and the ways and fills that led to it."""

    surface: np.ndarray
    codes: np.ndarray
    ways: list[Way]
    fills: list[tuple[Cell, np.float32]]
    filled: np.ndarray


def condition(
    z: np.ndarray,
    *,
    height_m: float = 1.0,
    width_m: float = 1.0,
    limits: tuple[float, float] = (np.inf, np.inf),
) -> Reference:
    """Condition a surface: decide every depression once, then lead flats to where they drain."""
    z = np.array(z, dtype=np.float32)
    work = Conditioning(z, raw_codes(z, height_m, width_m), height_m, width_m, limits)
    work.run()
    filled = work.filled
    codes = raw_codes(filled, height_m, width_m)
    ways = [work.ways[number] for number in sorted(work.ways)]
    surface = filled.copy()
    mouths: dict[Cell, int] = {}
    for number in sorted(work.ways):
        if work.depressions[number].is_flat:
            for cell, code in work.ways[number].steps:
                of_flat = cell in work.whose and work.whose[cell].is_flat
                if filled[cell] == work.ways[number].level and of_flat:
                    mouths.setdefault(cell, code)
    given = drain_flats(filled, codes, {**work.across, **mouths})
    # a later way has a cell only where it is lower than all earlier ones
    for way in ways:
        for cell, code in way.steps:
            if way.level < surface[cell] or (way.level == surface[cell] and cell not in given):
                surface[cell] = way.level
                given[cell] = code
    for cell in np.ndindex(z.shape):
        if np.isnan(filled[cell]):
            continue
        down = steepest(surface, cell, height_m, width_m)
        if down is not None:
            codes[cell] = down
        elif cell in given:
            codes[cell] = given[cell]
    return Reference(surface, codes, ways, work.fills, filled)


def donor_counts(codes: np.ndarray) -> np.ndarray:
    donors = np.zeros(codes.shape, dtype=np.uint8)
    for cell in np.ndindex(codes.shape):
        if codes[cell] < OUTLET:
            donors[moved(cell, int(codes[cell]))] += 1
    return donors


def accumulate(codes: np.ndarray, amount: np.ndarray | None = None) -> np.ndarray:
    """Send the amount of every cell down its whole way, one cell after the other."""
    own = np.ones(codes.shape) if amount is None else amount
    sums = np.zeros(codes.shape)
    for start in np.ndindex(codes.shape):
        if codes[start] == VOID:
            continue
        cell, steps = start, 0
        sums[cell] += own[start]
        while codes[cell] < OUTLET:
            cell = moved(cell, int(codes[cell]))
            sums[cell] += own[start]
            steps += 1
            if steps > codes.size:
                raise AssertionError("directions run in a circle")
    return sums


def upstream(codes: np.ndarray, cell: Cell) -> list[Cell]:
    """Cells that drain straight into a cell."""
    return [n for k, n in neighbours(codes.shape, cell) if codes[n] == (k + 4) % 8]


def longest_way_m(codes: np.ndarray, height_m: float, width_m: float) -> np.ndarray:
    """Longest way that drains to each cell, by walking down from every cell."""
    longest = np.zeros(codes.shape)
    for start in np.ndindex(codes.shape):
        if codes[start] == VOID:
            continue
        cell, walked = start, 0.0
        while codes[cell] < OUTLET:
            dr, dc = STEPS[int(codes[cell])]
            walked += float(np.hypot(dr * height_m, dc * width_m))
            cell = moved(cell, int(codes[cell]))
            longest[cell] = max(longest[cell], walked)
    return longest


def reaches(codes: np.ndarray, counts: np.ndarray, threshold: int) -> list[list[Cell]]:
    """Vertices of every reach, downstream, with the junction below as the last one.

    A reach starts where a channel has no channel above it or several; the cell where water
    leaves the raster starts none.
    """
    channel = counts >= threshold
    found = []

    def starts(cell: Cell) -> bool:
        above = [n for n in upstream(codes, cell) if channel[n]]
        return len(above) != 1 and codes[cell] < OUTLET

    for cell in map(tuple, np.argwhere(channel).tolist()):
        if not starts(cell):
            continue
        line = [cell]
        while codes[line[-1]] < OUTLET:
            line.append(moved(line[-1], int(codes[line[-1]])))
            if starts(line[-1]):
                break
        found.append(line)
    return found


def strahler(lines: list[list[Cell]]) -> list[int]:
    """Order of each reach: one more than its donors' highest where two or more carry that."""
    by_end: dict[Cell, list[int]] = {}
    for i, line in enumerate(lines):
        by_end.setdefault(line[-1], []).append(i)

    def order(i: int) -> int:
        above = sorted((order(j) for j in by_end.get(lines[i][0], [])), reverse=True)
        if not above:
            return 1
        return above[0] + (len(above) > 1 and above[1] == above[0])

    return [order(i) for i in range(len(lines))]


def main_donor(codes: np.ndarray, counts: np.ndarray, cell: Cell) -> Cell | None:
    """Donor with the most cells behind it, the first of equals clockwise from north."""
    best = None
    for near in upstream(codes, cell):
        if best is None or counts[near] > counts[best]:
            best = near
    return best


def stems(
    codes: np.ndarray, counts: np.ndarray, threshold: int, top: int
) -> list[tuple[list[Cell], Cell | None]]:
    """Cells of each stem from its lower end up, and the cell of the larger stem it joins."""
    found = []
    for cell in map(tuple, np.argwhere(counts >= threshold).tolist()):
        joins = moved(cell, int(codes[cell])) if codes[cell] < OUTLET else None
        if joins is not None and main_donor(codes, counts, joins) == cell:
            continue
        line = [cell]
        while (near := main_donor(codes, counts, line[-1])) is not None and counts[near] >= top:
            line.append(near)
        found.append((line, joins))
    return found
