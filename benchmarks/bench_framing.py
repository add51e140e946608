"""Framing: all showpieces x trains x 180 angles, beside the same work through astropy.wcs.

Run from a checkout:  python benchmarks/bench_framing.py
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import numpy as np
from astropy.wcs import WCS
from matplotlib.path import Path

from nightplan.model.catalog_reading import load_catalog
from nightplan.model.starter import demo_config
from nightplan.plane.ellipses import area_share, room
from nightplan.planning.framing.catalog_framing import ellipse_axes, frame_catalog
from nightplan.planning.framing.field_search import Field, coverage_of_turns, scan_angles
from nightplan.planning.framing.framing import frame_target
from nightplan.planning.framing.outlines import shape_of
from nightplan.planning.optics.train_optics import TrainOptics, all_train_optics
from nightplan.sky.tangent_plane import deproject

ANGLES_DEG = np.arange(0.0, 180.0, 1.0)
POINTS = 2000
COUNTED = 40


def seconds(work: Callable[[], object], repeats: int = 3) -> float:
    """Least time of several runs, s."""
    best = math.inf
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def counted_share(optics: TrainOptics, ra: np.ndarray, dec: np.ndarray, centre, up: float) -> float:
    """Coverage as one would count it with astropy.wcs: random places on the sensor or off it."""
    scale = math.degrees(optics.pixel_um / 1000.0 / optics.focal_length_mm)
    sin, cos = math.sin(math.radians(up)), math.cos(math.radians(up))
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval = list(centre)
    wcs.wcs.crpix = [(optics.width_px + 1) / 2, (optics.height_px + 1) / 2]
    wcs.wcs.cd = scale * np.array([[-cos, sin], [sin, cos]])
    x, y = wcs.all_world2pix(ra, dec, 1)
    held = (x >= 0.5) & (x <= optics.width_px + 0.5) & (y >= 0.5) & (y <= optics.height_px + 0.5)
    return float(held.mean())


def main() -> None:
    """Print the figures."""
    config, catalog = demo_config(), load_catalog()
    trains = all_train_optics(config)
    rows = np.flatnonzero(catalog.origin == "supplement")
    targets = catalog.targets(rows)
    shapes = [shape_of(target) for target in targets]
    fields = [Field(optics.half_long_plane, optics.half_short_plane) for optics in trains]
    combinations = len(targets) * len(trains) * len(ANGLES_DEG)
    print(f"{len(targets)} showpieces x {len(trains)} trains x {len(ANGLES_DEG)} angles")

    axes = ellipse_axes(catalog.subset(rows))
    major, minor, tilt = (each[:, None] for each in axes)

    def ellipses() -> None:
        for field in fields:
            room(major, minor, ANGLES_DEG - tilt, field.half_long, field.half_short)
            area_share(major, minor, ANGLES_DEG - tilt, field.half_long, field.half_short)

    closed = seconds(ellipses)
    print(f"  closed form, as ellipses             {closed:8.3f} s")

    def outlines() -> None:
        for shape in shapes:
            for field in fields:
                scan = scan_angles(shape, field, ANGLES_DEG)
                coverage_of_turns(shape, field, scan.ra_deg, scan.dec_deg, ANGLES_DEG)

    exact = seconds(outlines)
    print(f"  outlines, margin on the sphere       {exact:8.3f} s")

    some = list(zip(targets, shapes, strict=True))[:: max(1, len(targets) // COUNTED)]

    def counting() -> None:
        for target, shape in some:
            polygon = shape.polygons[0]
            spread = np.random.default_rng(1).uniform(
                polygon.min(axis=0), polygon.max(axis=0), (POINTS, 2)
            )
            inside = spread[Path(polygon).contains_points(spread)]
            ra, dec = deproject(inside[:, 0], inside[:, 1], target.ra_deg, target.dec_deg)
            counted_share(trains[0], ra, dec, (target.ra_deg, target.dec_deg), 30.0)

    one = seconds(counting) / len(some)
    whole = one * combinations
    print(f"  counted with astropy.wcs, {POINTS} points {whole:8.1f} s (from {len(some)} counts)")
    print(f"  ratio counted / outlines             {whole / exact:8.0f}")
    print(f"  ratio counted / closed form          {whole / closed:8.0f}")

    def decisions() -> None:
        for target in targets:
            for name in config.train:
                frame_target(config, target, name)

    print(f"decisions (angle, mosaic, tolerance)   {seconds(decisions, 1):8.2f} s")
    print(
        f"whole catalogue, {len(catalog)} x {len(trains)}           "
        f"{seconds(lambda: frame_catalog(config, catalog)):8.3f} s"
    )


if __name__ == "__main__":
    main()
