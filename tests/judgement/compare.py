"""What money saves by this version's choice, by another version's, and by plain orders.

Run ``python -m tests.judgement.compare [COMMIT ...] [--keep FOLDER]``. Ten invented ranches that
nothing else reads are screened with each budget; what is bought is held against the planted loss
(`tests.judgement.planted_loss`), pooled over the ranches.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from sample_dem.export import write_ranch
from sample_dem.generator import make_ranch
from tests.golden.cases import ROOT
from tests.golden.compare import installed
from tests.judgement.plan_saved import RIVALS, Saved, Unit, bought, saved, units_of
from tests.judgement.planted_loss import PlantedLoss, planted_losses

#: Ranches that no other test or tool reads.
SEEDS = tuple(range(9301, 9311))
#: Side of each, cells of 1 m.
SIDE = 1000
BUDGETS = (5000, 15000, 50000)


def ranch_folder(folder: Path, seed: int) -> tuple[Path, tuple[PlantedLoss, ...]]:
    """Make a ranch's files once, and say what its heads would take."""
    own = folder / f"ranch_{seed}"
    ranch = make_ranch(seed, SIDE, SIDE)
    if not (own / "ranch_dem.tif").exists():
        own.mkdir(parents=True, exist_ok=True)
        write_ranch(ranch, own)
    return own, planted_losses(ranch.truth)


def screened(program: Path, ranch: Path, out: Path, budget: int) -> Path:
    """The plan that a version makes of a ranch with a budget, made once."""
    plan = out / f"{ranch.name}_{budget}.gpkg"
    if not plan.exists():
        command = [
            sys.executable, "-m", "cli", "screen", str(ranch / "ranch_dem.tif"),
            "--boundary", str(ranch / "boundary.geojson"), "--rain", str(ranch / "rainfall.csv"),
            "--curve-number", "79", "--roads", str(ranch / "ranch.gpkg"),
            "--budget", str(budget), "--out", str(plan),
        ]  # fmt: skip
        env = {**os.environ, "PYTHONPATH": str(program)}
        done = subprocess.run(command, env=env, cwd=program, capture_output=True, text=True)
        if done.returncode:
            raise SystemExit(f"{ranch.name}: {done.stderr}")
    return plan


def row(name: str, sums: Sequence[Saved], best: float) -> str:
    """One line: soil, swale and both joined at each budget."""
    cells = "  ".join(
        f"{s.soil_m3:7,.0f} m3 {s.swale_ha:5.2f} ha {s.joined_m3:7,.0f}" for s in sums
    )
    return f"{name:<34}{cells}  {sums[1].joined_m3 / best:5.2f}"


def pooled(parts: Sequence[Saved]) -> Saved:
    """Sum over ranches."""
    return Saved(sum(p.soil_m3 for p in parts), sum(p.swale_ha for p in parts))


def score(
    program: Path, out: Path, folder: Path, seeds: Sequence[int]
) -> tuple[dict[str, list[Saved]], list[Saved]]:
    """What a version's own choice and the plain orders among its units save at each budget."""
    out.mkdir(parents=True, exist_ok=True)
    names = ["its own choice", *RIVALS]
    parts: dict[str, list[list[Saved]]] = {name: [[] for _ in BUDGETS] for name in names}
    everything: list[Saved] = []
    for seed in seeds:
        ranch, losses = ranch_folder(folder, seed)
        for i, budget in enumerate(BUDGETS):
            units = units_of(screened(program, ranch, out, budget), losses)
            sets: dict[str, Sequence[Unit]] = {
                "its own choice": [u for u in units if u.chosen],
                **{name: bought(units, budget, key) for name, key in RIVALS.items()},
            }
            for name, chosen in sets.items():
                parts[name][i].append(saved(chosen, losses))
        everything.append(saved(units, losses))
        print(f"{program.name} {seed}", file=sys.stderr)
    sums = {name: [pooled(p) for p in each] for name, each in parts.items()}
    return sums, [pooled(everything)]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("commits", nargs="*", help="other versions")
    parser.add_argument("--keep", type=Path, help="folder for ranches and plans")
    parser.add_argument("--seeds", type=int, nargs="*", default=SEEDS)
    given = parser.parse_args()
    folder = given.keep or Path(tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    programs = [("this version", ROOT)]
    programs += [(c, installed(c, folder / c)) for c in given.commits]
    losses = [h for seed in given.seeds for h in ranch_folder(folder, seed)[1]]
    lost = pooled([Saved(h.soil_m3, h.swale_ha) for h in losses])
    print(
        f"{len(losses)} planted heads on {len(given.seeds)} ranches would take "
        f"{lost.soil_m3:,.0f} m3 and {lost.swale_ha:.2f} ha in 20 years, {lost.joined_m3:,.0f} "
        "joined."
    )
    print(f"Saved within {', '.join(f'{b:,}' for b in BUDGETS)} US$; last, joined against the best")
    print("plain order among its own units at the middle budget.")
    for name, program in programs:
        sums, all_of_it = score(
            program, folder / f"plans_{name.replace(' ', '_')}", folder, given.seeds
        )
        best = max(s[1].joined_m3 for n, s in sums.items() if n in RIVALS)
        print(f"{name}: everything that it builds saves {all_of_it[0].joined_m3:,.0f} joined")
        for order, each in sums.items():
            print("  " + row(order, each, max(best, 1e-9)))


if __name__ == "__main__":
    main()
