"""Build ``composites.csv``: centre, size, angle and outline of the fields of several targets.

    python catalogs/build_composites.py [FOLDER]

Reads the column ``members`` of large_targets.csv and the members' ellipses from the catalogue.
A second run gives the same bytes.
"""

from __future__ import annotations

import csv
import io
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent

COLUMNS = (
    "name", "ra_deg", "dec_deg", "major_arcmin", "minor_arcmin", "angle_deg", "outline_arcmin",
)  # fmt: skip


def main(folder: Path = HERE) -> None:
    """Write composites.csv into `folder`."""
    from nightplan.model.catalog_reading import load_catalog
    from nightplan.model.composite import composite_field

    catalog = load_catalog(composites=False)
    with open(HERE / "large_targets.csv", encoding="utf-8", newline="") as stream:
        rows = [row for row in csv.DictReader(stream) if row["members"]]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in rows:
        members = [catalog.target(catalog.find(name)) for name in row["members"].split(";")]
        field = composite_field(members)
        outline = ";".join(f"{east:.1f} {north:.1f}" for east, north in field.outline)
        writer.writerow(
            [row["name"], f"{field.ra_deg:.4f}", f"{field.dec_deg:.4f}",
             f"{field.major_arcmin:.1f}", f"{field.minor_arcmin:.1f}",
             f"{round(field.angle_deg, 1) % 180.0:.1f}",
             outline]
        )  # fmt: skip
    (folder / "composites.csv").write_bytes(text.getvalue().encode("utf-8"))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
