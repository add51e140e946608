"""Build ``sga_galaxies.csv``: lengths of NGC galaxies in the Siena Galaxy Atlas 2020.

    python catalogs/extract_sga.py FILE

Reads the parquet file that the package ngcs 0.1.0 carries (`ngcs/data/`, Apache-2.0; pyarrow reads
it): SMASB26, the semi-major axis in arcseconds at 26 mag/arcsec² in r, of Moustakas et al. 2023,
ApJS 269, 3. Both packages serve this script alone; nightplan needs neither.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

HEAD = """\
# Major axis (arcmin) of NGC galaxies at the isophote of 26 mag/arcsec² in r: Siena Galaxy Atlas 2020
# (Moustakas et al. 2023, ApJS 269, 3), twice SMASB26, as the package ngcs 0.1.0 carries it (Apache-2.0).
name,major_arcmin
"""  # noqa: E501


def main(parquet: Path) -> None:
    """Write sga_galaxies.csv beside this script."""
    from pyarrow import parquet as reader  # type: ignore[import-not-found,import-untyped,unused-ignore]

    table = reader.read_table(parquet, columns=["Name", "SMASB26"]).to_pydict()
    rows = []
    for name, half_arcsec in zip(table["Name"], table["SMASB26"], strict=True):
        match = re.fullmatch(r"NGC0*(\d+)([A-Z]?)", name)
        if match and half_arcsec and half_arcsec > 0.0:
            number, letter = int(match[1]), match[2]
            rows.append((number, letter, f"NGC {number}{letter},{half_arcsec / 30.0:.2f}\n"))
    text = HEAD + "".join(line for _, _, line in sorted(rows))
    (Path(__file__).parent / "sga_galaxies.csv").write_text(text, encoding="utf-8", newline="")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
