"""What it costs to collect a season's files, and to look at them again.

Run: python benchmarks/bench_collect.py [COUNT]. Writes COUNT (5,000) small FITS files of 80 cards
into a temporary folder and prints processor seconds.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from astropy import units as u
from astropy.io import fits
from astropy.time import Time

from nightplan.journal.fits_import import NO_INSTRUCTIONS
from nightplan.model.config import load_config
from nightplan.model.own_targets import catalog_for
from nightplan.model.starter import starter_text
from nightplan.planning.photons.sub_worth import collect_and_weigh

TARGETS = (("M 31", 10.68, 41.27), ("M 33", 23.46, 30.66), ("", 10.70, 41.30))
NIGHT_SUBS = 100


def write_files(folder: Path, count: int) -> None:
    """Lights of many evenings; every third says nothing of its target."""
    start = Time("2027-10-01T21:00:00")
    for number in range(count):
        unit = fits.PrimaryHDU(np.zeros((8, 8), np.int16))
        evening, sub = divmod(number, NIGHT_SUBS)
        name, ra, dec = TARGETS[number % len(TARGETS)]
        unit.header.update(
            {
                "IMAGETYP": "LIGHT",
                "DATE-OBS": (start + (evening + sub / 480.0) * u.day).isot,
                "EXPTIME": 150.0,
                "FILTER": "LRGB"[number % 4],
                "OBJECT": name,
                "RA": ra,
                "DEC": dec,
                "FOCALLEN": 588.0,
                "XPIXSZ": 3.9,
                "STARCNT": 100 + number % 7,
                **{f"KEY{key}": key / 3.0 for key in range(66)},
            }
        )
        unit.writeto(folder / f"{number:05d}.fits")


def main(count: int) -> None:
    """Collect twice."""
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        (home / "shot").mkdir()
        (home / "nightplan.toml").write_text(starter_text(), encoding="utf-8")
        write_files(home / "shot", count)
        config = load_config(home / "nightplan.toml")
        catalog = catalog_for(config)
        for words in ("collected", "looked at again"):
            start = time.process_time()
            found = collect_and_weigh(config, catalog, home / "shot", NO_INSTRUCTIONS)[0]
            seconds = time.process_time() - start
            print(f"{count} files {words}: {seconds:.1f} s, {len(found.added)} added")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
