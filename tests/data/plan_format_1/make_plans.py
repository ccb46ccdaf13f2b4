"""Make the plans of format 1 in this folder again; see README.md.

Run ``python make_plans.py FOLDER`` with the program of commit dd9d995 installed: it writes the
ground, both plans and what they were made from into a folder.
"""

from __future__ import annotations

import gzip
import subprocess
import sys
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine

CELLS = 160
NOTES = """site_id,measured_width_ft,measured_depth_ft,measured_bankfull_depth_ft,decision
1,26.0,3.0,1.6,build
"""


def write_ground(path: Path) -> None:
    """A valley that falls to the south with a gully of 1 m in its floor; a rim sheds outwards."""
    y, x = np.mgrid[0:CELLS, 0:CELLS] + 0.5
    across = np.abs(x - 80 - 6 * np.sin(y / 20))
    z = 1700 - 0.02 * y + 0.05 * across
    z -= np.clip((y - 70) / 1.5, 0, 1) * np.clip((4.0 - across) / 1.2, 0, 1)
    z -= 0.3 * np.maximum(5 - np.minimum(np.minimum(x, CELLS - x), y), 0)
    z += np.random.default_rng(9).normal(0, 0.02, z.shape)
    with rasterio.open(
        path, "w", driver="GTiff", width=CELLS, height=CELLS, count=1, dtype="float32",
        crs="EPSG:32612", transform=Affine(1, 0, 500_000, 0, -1, 4_000_000),
    ) as out:  # fmt: skip
        out.write(z.astype("float32"), 1)


def main(folder: Path) -> None:
    """Write everything."""
    ground, notes = folder / "ground.tif", folder / "notes.csv"
    write_ground(ground)
    notes.write_text(NOTES)
    screen = (
        "screen", str(ground), "--vertical-unit", "m", "--channel-area", "0.3ha",
        "--rain-24h", "2=38mm,10=62mm,25=78mm,100=104mm", "--curve-number", "79",
    )  # fmt: skip
    si, us, revised = (folder / f"{name}.gpkg" for name in ("plan", "plan_us", "revised_us"))
    for arguments in (
        (*screen, "--out", str(si)),
        (*screen, "--out", str(us), "--units", "us"),
        ("revise", str(us), str(notes), "--out", str(revised)),
    ):
        subprocess.run([sys.executable, "-m", "cli", *arguments], check=True)
    for plan in (si, revised):
        packed = gzip.compress(plan.read_bytes(), mtime=0)
        plan.with_suffix(".gpkg.gz").write_bytes(packed)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
