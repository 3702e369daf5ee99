"""Make the invented height profiles in ``scans/`` of some prints of the first demo trial, and their run list; and those in
``scans_plate/`` of the two plates that they were printed with.

Run ``python data_demo/make_scans.py`` to write them anew. Each profile crosses the four lines of a print and the three gaps
of one plate gap, with the heights, widths and gaps that ``trial_first.csv`` has for them. This script shares no code
with ``pwindow``, so it can judge what ``pwindow`` measures.
"""

from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).parent
STEP = 0.5
"""Distance of points, µm."""
BESIDE = 60.0
"""Bare film at both ends, µm."""
CLOSED = 8.0
"""Distance of the feet that lines would have had where ink bridges the gap between them, µm."""
POWER = 1.775
"""Of a line's section, 1 - |2u|^POWER: its area over height times width at the foot is that of the trial."""
SCANS = (
    ("A-001", 75, "clean", {}),
    ("A-002", 75, "tilted", {"tilt": 0.015}),
    ("A-004", 75, "noisy", {"noise": 0.03}),
    ("A-005", 75, "voids", {"voids": (70.0, 72.0, 80.0, 83.0, 185.0, 187.0)}),
    ("A-006", 75, "two ridges", {"saddle": 0.35}),
    ("A-010", 45, "bridged", {}),
)
"""Print, plate gap (µm), what is special about its profile, and that in numbers: µm, shares of the height."""
PLATES = (
    ("laser-imaged", "gaps", {"width": 150.0, "gap": 60.0, "depth": 10.0, "lip": 0.6}),
    ("laser-imaged", "lines", {"width": 30.0, "gap": 60.0, "depth": 60.0}),
    ("film-imaged", "gaps", {"width": 150.0, "gap": 60.0, "depth": 22.0, "lip": 1.5}),
    ("film-imaged", "lines", {"width": 30.0, "gap": 60.0, "depth": 60.0, "radius": 45.0}),
)
"""Plate, what its profile crosses, and that in numbers, µm: width of its raised lines, width and depth of the gaps between
them, height of lips (common practice, no source: at some 55 µm of gap one kind of plate is 10 µm deep and another 22), and
radius of rounded tops."""
LIP_BASE = 14.0
"""Width of a lip, µm."""
WALL = 2.0
"""Steepness of the walls of gaps."""


def dome(u, saddle=0.0):
    """Height over the peak at a place u between -1/2 and 1/2 of the base; with a saddle of that depth between two ridges."""
    inside = np.abs(u) <= 0.5
    shape = np.where(inside, 1.0 - np.abs(2.0 * u) ** POWER, 0.0)
    if saddle:
        shape = shape * (1.0 - saddle * np.cos(np.pi * u) ** 12)
        shape = shape / shape.max()
    return shape


def base_over_foot(saddle):
    """Width of the whole section over its width at a tenth of the step height, which is the mean of the middle third."""
    u = np.linspace(-0.5, 0.5, 20001)
    shape, foot = dome(u, saddle), 1.0
    for _ in range(50):
        step = shape[np.abs(u) <= foot / 6].mean()
        at = np.flatnonzero(shape >= 0.1 * step)
        foot = u[at[-1]] - u[at[0]]
    return 1.0 / foot


def profile(rows, *, tilt=0.0, noise=0.002, voids=(), saddle=0.0, rng):
    """Places and heights of a profile across the lines and gaps of `rows`, µm; a gap without a width is bridged."""
    lines = rows.dropna(subset=["line_height [um]"])
    gaps = rows.loc[rows["gaps_inspected"].notna(), "gap [um]"].tolist()
    widths, heights = lines["line_width [um]"].tolist(), lines["line_height [um]"].tolist()
    stretch, left, spots, bridges = base_over_foot(saddle), BESIDE, [], []
    for width, gap in zip(widths, [*gaps, None]):
        spots.append(left + width / 2)
        left += width
        if gap is not None and np.isnan(gap):
            left += CLOSED
            bridges.append((spots[-1], left))
        else:
            left += gap or 0.0
    x = np.arange(0.0, left + BESIDE, STEP)
    z = sum(
        height * dome((x - spot) / (width * stretch), saddle)
        for spot, width, height in zip(spots, widths, heights)
    )
    for begin, end in bridges:
        z = np.where((x > begin) & (x < end), np.maximum(z, 0.4 * min(heights)), z)
    z = z + tilt * x + noise * max(heights) * rng.standard_normal(len(x))
    for begin, end in zip(voids[::2], voids[1::2]):
        z[(x >= begin) & (x <= end)] = np.nan
    return x, z


def plate_profile(*, width, gap, depth, lip=0.0, radius=np.inf, rng):
    """Places and heights of a profile across four gaps of a plate and the raised lines between them, µm."""
    pitch, beside = width + gap, (width + gap) / 2.0
    x = np.arange(0.0, 4.0 * pitch + STEP, STEP)
    outside = np.abs((x % pitch) - beside) - gap / 2.0  # µm from the nearest edge; negative in a gap
    if np.isfinite(radius):
        u = np.minimum(pitch / 2.0 - np.abs((x % pitch) - beside), width / 2.0)
        z = np.sqrt(radius**2 - u**2) - radius
    else:
        crown = 1.0 - (2.0 * outside / LIP_BASE - 1.0) ** 2
        z = lip * np.where(outside > 0.0, np.clip(crown, 0.0, None), 0.0)
    z = z + np.clip(WALL * outside, -depth, 0.0)
    return x, z + 0.004 * x + 0.03 * rng.standard_normal(len(x))


def write_profile(path, head, x, z):
    rows = [f"{at:.1f},{'' if np.isnan(height) else format(1e3 * height, '.1f')}" for at, height in zip(x, z)]
    path.write_text("\n".join([*head, "x [µm],z [nm]", *rows]) + "\n", encoding="utf-8")


def main():
    trial = pd.read_csv(HERE / "trial_first.csv", dtype={"roll": str})
    folder, rng = HERE / "scans", np.random.default_rng(20)
    folder.mkdir(exist_ok=True)
    for name, plate_gap, what, special in SCANS:
        own = trial[trial["print"] == name]
        kept = own[own["plate_gap [um]"].isna() | (own["plate_gap [um]"] == plate_gap)]
        x, z = profile(kept, rng=rng, **special)
        head = [f"# print: {name}", f"# profile: {what}"]
        write_profile(folder / f"{name}_{plate_gap}.csv", head, x, z)
    columns = [*trial.columns[:9], "plate_gap [um]"]
    runs = [
        trial[(trial["print"] == name) & (trial["plate_gap [um]"] == gap)][columns].head(1)
        for name, gap, _, _ in SCANS
    ]
    pd.concat(runs).to_csv(HERE / "scans_runs.csv", index=False)
    plates = HERE / "scans_plate"
    plates.mkdir(exist_ok=True)
    for plate, what, made in PLATES:
        head = [f"# plate_id: {plate}", f"# profile: {what}"]
        write_profile(plates / f"{plate}_{what}.csv", head, *plate_profile(**made, rng=rng))


if __name__ == "__main__":
    main()
