"""What a chart, a guider's outlook and a cut through the star catalogue cost.

Run: python benchmarks/bench_chart.py [TARGET ...]. Prints milliseconds, best of three, and ratios
to one plain pass over the catalogue's file, so that two machines can be compared.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from nightplan.model.catalog_reading import load_catalog
from nightplan.model.star_catalog import bundled_stars, star_catalog
from nightplan.model.starter import demo_config
from nightplan.planning.framing.framing import frame_target
from nightplan.planning.framing.guide_star import guide_outlook
from nightplan.report.charts.framing_chart import save_framing_chart

SHOWPIECES = ("M 31", "NGC 7000", "M 51", "IC 1396", "NGC 188")


def best_ms(work: Callable[[], object], runs: int = 3) -> float:
    """Shortest of several runs, milliseconds."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return 1000.0 * min(times)


def main(names: list[str]) -> None:
    """Time every part for every target."""
    config, catalog, stars = demo_config(), load_catalog(), star_catalog()
    rows = bundled_stars()
    whole = best_ms(lambda: np.cos(np.radians(rows.dec_deg)).sum())
    print(f"one pass over {len(rows.ra_deg):,} rows: {whole:.1f} ms")
    print(f"{'target':<12}{'cone':>9}{'guider':>9}{'png':>9}{'svg':>9}{'pdf':>9}   (ms; passes)")
    with tempfile.TemporaryDirectory() as folder:
        for name in names:
            target = catalog.target(catalog.find(name))
            framings = [frame_target(config, target, train) for train in config.train]
            first = framings[0]
            works: list[Callable[[], object]] = [
                partial(stars.cone, first.ra_deg, first.dec_deg, 3.0),
                partial(guide_outlook, config, first, target=target),
            ]
            for kind in ("png", "svg", "pdf"):
                path = Path(folder) / f"chart.{kind}"
                works.append(
                    partial(
                        save_framing_chart, path, config, target, first, framings, catalog=catalog
                    )
                )
            costs = [best_ms(work) for work in works]
            print(
                f"{name:<12}"
                + "".join(f"{cost:9.1f}" for cost in costs)
                + "   "
                + " ".join(f"{cost / whole:.1f}" for cost in costs)
            )


if __name__ == "__main__":
    main(sys.argv[1:] or list(SHOWPIECES))
