"""Build ``supplement.csv``: our own targets, laid over the rows of openngc.csv once and for all.

    python catalogs/build_supplement.py [FOLDER]

Reads large_targets.csv (by hand), second_lists.csv, the classic lists with what we know of their
entries (classic_lists.csv, classic_notes.csv), and numbers in further lists (other_numbers.csv);
writes supplement.csv into FOLDER (this folder by default), one row a target with every column of
the catalogue. The same input gives the same bytes.
"""

from __future__ import annotations

import csv
import io
import re
import sys
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
from group_figures import with_angles_of_groups, with_light_of
from second_list import AGREED_SIZE, NO_BRIGHTNESS, against, longer_in_atlas

from nightplan.model.catalog import FLOAT_COLUMNS, LIST_COLUMNS, LIST_SEPARATOR, Catalog
from nightplan.model.catalog_reading import columns_of, joined, kept, openngc_columns
from nightplan.model.composite import composite_field
from nightplan.model.name_lookup import normalise
from nightplan.model.target import Target

HERE = Path(__file__).resolve().parent

SECOND_HAND = "by VizieR extract, second hand"
LISTS = {
    "Sh2": ("Sharpless 1959", "emission_nebula"),
    "vdB": ("van den Bergh 1966", "reflection_nebula"),
    "B": ("Barnard 1927", "dark_nebula"),
}
COMPOSITE_SOURCE = "computed from the members' ellipses"

AGREED_PLACE = 0.25
"""Two lists agree when their places lie within this share of the size, and see `AGREED_SIZE`."""

NUMBERS = (
    "ra_deg", "dec_deg", "major_arcmin", "minor_arcmin", "angle_deg", "magnitude_v", "magnitude_b",
)  # fmt: skip

Row = dict[str, str]
Built = list[tuple[Target, list[str]]]
"""Targets, each with the OpenNGC rows whose place it takes."""


def read(name: str) -> list[Row]:
    """Rows of one CSV file of this folder; lines that begin with # are left out."""
    with open(HERE / name, encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(line for line in stream if not line.startswith("#")))


def split(cell: str) -> list[str]:
    """Items of a cell that holds a list."""
    return [item.strip() for item in cell.split(LIST_SEPARATOR) if item.strip()]


def is_frame(cells: Row) -> bool:
    """Whether a row's place and size follow from its members' ellipses."""
    return bool(cells["members"]) and not cells["major_arcmin"]


def overlaid(cells: Row, olds: list[Target]) -> Target:
    """One row of large_targets.csv laid over the OpenNGC rows that it stands for.

    An empty cell keeps the first one's value, ``none`` says that there is none.
    """
    values: dict[str, Any] = {}
    if olds:
        values = {column.name: getattr(olds[0], column.name) for column in fields(Target)}
        values["common_names"] = ()
        if olds[0].kind_source == "OpenNGC":
            values["old_kind"] = olds[0].kind
    for key in NUMBERS:
        if cells[key]:
            values[key] = None if cells[key] == "none" else float(cells[key])
    if cells["major_arcmin"]:
        if not cells["minor_arcmin"]:
            values["minor_arcmin"] = None
        if not cells["angle_deg"]:
            # A new ellipse whose direction nobody gave must not keep the old one's.
            values["angle_deg"] = None
        # Neither must it keep a mean brightness inside another ellipse.
        values |= NO_BRIGHTNESS
    names = split(cells["identifiers"])
    for old in olds:
        names += [old.name, *old.identifiers]
    values["identifiers"] = tuple(name for name in dict.fromkeys(names) if name != cells["name"])
    values["common_names"] = tuple(split(cells["common_names"]))
    if olds and not values["common_names"]:
        values["common_names"] = olds[0].common_names
    if values["common_names"] == ("none",):
        values["common_names"] = ()
    values |= {
        "name": cells["name"],
        "kind": cells["kind"] or values["kind"],
        "lines": tuple(split(cells["lines"])),
        "constellation": cells["constellation"] or values.get("constellation", ""),
        "grade": cells["grade"],
        "note": cells["note"],
        "origin": "supplement",
    }
    values |= _sources(cells, values)
    values.pop("old_kind", None)
    return Target(**values)


def _sources(cells: Row, values: dict[str, Any]) -> dict[str, str]:
    """Source of every figure; empty where there is no figure."""
    found = {
        key: cells[key] or values.get(key, "")
        for key in ("size_source", "position_source", "angle_source", "magnitude_source")
    }
    found["kind_source"] = cells["kind_source"] or _kind_source(values)
    found["lines_source"] = (cells["lines_source"] or "remembered") if cells["lines"] else ""
    if values.get("angle_deg") is None:
        found["angle_source"] = ""
    if values.get("major_arcmin") is None and found["size_source"] == "OpenNGC":
        found["size_source"] = ""
    if values.get("magnitude_v") is None and values.get("magnitude_b") is None:
        found["magnitude_source"] = ""
    return found


def _kind_source(values: dict[str, Any]) -> str:
    """A list that has the target as of this kind: a classic one or OpenNGC; else remembered."""
    for name in (values["name"], *values["identifiers"]):
        paper, kind = LISTS.get(list_of(name), ("", ""))
        if kind == values["kind"]:
            return f"{paper} ({name})"
    return "OpenNGC" if values["kind"] == values.get("old_kind") else "remembered"


def list_of(name: str) -> str:
    """Prefix of the list that a designation belongs to: "Sh2-101" -> "Sh2", "B 33" -> "B"."""
    return re.split(r"[ -]", name)[0]


def by_hand(base: Catalog, row_of: dict[str, int]) -> Built:
    """Targets of large_targets.csv that stand on their own."""
    made: Built = []
    for cells in read("large_targets.csv"):
        replaced = split(cells["replaces"])
        missing = [name for name in replaced if name not in row_of]
        if missing:
            raise SystemExit(f"{cells['name']} replaces {missing[0]}, which is not there")
        if is_frame(cells):
            continue
        target = overlaid(cells, [base.target(row_of[name]) for name in replaced])
        if cells["members"]:
            members = ", ".join(split(cells["members"]))
            note = f"{target.note}; members: {members}" if target.note else f"members: {members}"
            target = replace(target, note=note)
        made.append((target, replaced))
    return made


def composites(catalog: Catalog, row_of: dict[str, int], base: Catalog) -> Built:
    """Frames of several targets: place, size, angle and outline from the members' ellipses."""
    made: Built = []
    for cells in read("large_targets.csv"):
        if not is_frame(cells):
            continue
        members = [catalog.target(catalog.find(name)) for name in split(cells["members"])]
        field = composite_field(members)
        figures = {
            "ra_deg": f"{field.ra_deg:.4f}", "dec_deg": f"{field.dec_deg:.4f}",
            "major_arcmin": f"{field.major_arcmin:.1f}",
            "minor_arcmin": f"{field.minor_arcmin:.1f}",
            "angle_deg": f"{round(field.angle_deg, 1) % 180.0:.1f}",
            **dict.fromkeys(("size_source", "position_source", "angle_source"), COMPOSITE_SOURCE),
        }  # fmt: skip
        if figures["major_arcmin"] == figures["minor_arcmin"]:
            figures["angle_deg"] = "none"
        replaced = split(cells["replaces"])
        target = overlaid(cells | figures, [base.target(row_of[name]) for name in replaced])
        outline = tuple((round(east, 1), round(north, 1)) for east, north in field.outline)
        if target.kind == "galaxy_group":
            target = with_light_of(target, members)
        made.append((replace(target, outline=outline, outline_source=COMPOSITE_SOURCE), replaced))
    return made


def classic(made: Built, base: Catalog, row_of: dict[str, int]) -> Built:
    """All of Sharpless, van den Bergh and Barnard: as targets, or as names of targets there."""
    notes = {row["name"]: row for row in read("classic_notes.csv")}
    place = {
        normalise(name): at for at, (target, _) in enumerate(made) for name in names_of(target)
    }
    made = list(made)
    framed = {
        normalise(name)
        for row in read("large_targets.csv")
        if is_frame(row)
        for name in (row["name"], *split(row["identifiers"]))
    }
    for entry in read("classic_lists.csv"):
        note = notes.pop(entry["name"], dict.fromkeys(("same_as", "kind", "lines"), ""))
        same = note["same_as"] or entry["name"]
        if normalise(same) in framed:
            continue
        at = place.get(normalise(same))
        if at is not None:
            target, replaced = made[at]
            if normalise(entry["name"]) not in map(normalise, names_of(target)):
                names = (*target.identifiers, entry["name"])
                made[at] = (replace(target, identifiers=names), replaced)
            continue
        old = row_of.get(same)
        target = classic_target(entry, note, None if old is None else base.target(old))
        for name in names_of(target):
            place.setdefault(normalise(name), len(made))
        made.append((target, [] if old is None else [same]))
    if notes:
        raise SystemExit(f"classic_notes.csv names entries that are not there: {sorted(notes)}")
    return made


def names_of(target: Target) -> tuple[str, ...]:
    """Designations of a target, its own first."""
    return (target.name, *target.identifiers)


def classic_target(entry: Row, note: Row, old: Target | None) -> Target:
    """One entry of a classic list, or the OpenNGC row that it repeats with the list's kind.

    OpenNGC's size is kept where it has one; where both agree the figures count as firm.
    """
    paper, kind = LISTS[list_of(entry["name"])]
    cited = f"{paper} ({entry['name']}), {SECOND_HAND}"
    diameter = float(entry["diameter_arcmin"]) if entry["diameter_arcmin"] else None
    names = split(note.get("identifiers", ""))
    values: dict[str, Any] = {
        "name": entry["name"],
        "ra_deg": float(entry["ra_deg"]), "dec_deg": float(entry["dec_deg"]),
        "position_source": cited,
        "major_arcmin": diameter, "size_source": cited if diameter else "",
        "grade": "fair",
    }  # fmt: skip
    if old is not None:
        agreed = agree(entry, diameter, old)
        values = {column.name: getattr(old, column.name) for column in fields(Target)}
        values["grade"] = "firm" if agreed else "fair"
        if old.major_arcmin is None and diameter is not None:
            values |= {"major_arcmin": diameter, "size_source": cited}
        elif agreed:
            values["size_source"] = f"OpenNGC, in agreement with {cited}"
        names = [*old.identifiers, *names, entry["name"]]
        # Magnitudes of nebulae in OpenNGC are those of their star or cluster.
        values |= {"magnitude_v": None, "magnitude_b": None, "magnitude_source": ""}
    for key, source in (("major_arcmin", "size_source"), ("angle_deg", "angle_source")):
        if note.get(key):
            values |= {key: float(note[key]), source: "remembered"}
    if note.get("minor_arcmin"):
        values["minor_arcmin"] = float(note["minor_arcmin"])
        values["size_source"] += "; minor axis remembered"
    common = split(note.get("common_names", ""))
    kind = note["kind"] or kind
    lines = split(note["lines"]) or (["H-alpha", "S II"] if kind == "emission_nebula" else [])
    values |= {
        "identifiers": tuple(dict.fromkeys(names)),
        "common_names": tuple(common) or values.get("common_names", ()),
        "kind": kind, "kind_source": "remembered" if note["kind"] else cited,
        "lines": tuple(lines) if lines != ["none"] else (),
        "lines_source": "" if lines in ([], ["none"])
        else "remembered" if note["lines"] else "typical of its kind",
        "note": note.get("note", ""),
        "origin": "supplement",
    }  # fmt: skip
    return Target(**values)


def agree(entry: Row, diameter: float | None, old: Target) -> bool:
    """Whether a classic list and OpenNGC give one place and one size."""
    if diameter is None or old.major_arcmin is None:
        return False
    ratio = diameter / old.major_arcmin
    east = (float(entry["ra_deg"]) - old.ra_deg) * np.cos(np.radians(old.dec_deg))
    away = 60.0 * float(np.hypot(east, float(entry["dec_deg"]) - old.dec_deg))
    close = away < AGREED_PLACE * max(diameter, old.major_arcmin)
    return bool(1.0 / AGREED_SIZE <= ratio <= AGREED_SIZE and close)


def checked(made: Built, base: Catalog, row_of: dict[str, int]) -> Built:
    """OpenNGC's galaxies and clusters set against a second list, and against an atlas.

    Rows of the supplement by hand are left as they are.
    """
    taken = {name for _, replaced in made for name in replaced}
    rows = [cells for cells in read("second_lists.csv") if cells["name"] not in taken]
    made = made + [(against(base.target(row_of[one["name"]]), one), [one["name"]]) for one in rows]
    taken |= {cells["name"] for cells in rows}
    for cells in read("sga_galaxies.csv"):
        row = base.names.designations.get(normalise(cells["name"]))
        if row is None or str(base.name[row]) in taken:
            continue
        longer = longer_in_atlas(base.target(row), float(cells["major_arcmin"]))
        made += [] if longer is None else [(longer, [longer.name])]
    return made


def numbered(made: Built, base: Catalog, row_of: dict[str, int]) -> Built:
    """Numbers of other_numbers.csv given to the targets that have them."""
    place = {
        normalise(name): at
        for at, (target, _) in reversed(list(enumerate(made)))
        for name in names_of(target)
    }
    made = list(made)
    for cells in read("other_numbers.csv"):
        at = place.get(normalise(cells["target"]))
        if normalise(cells["number"]) in place:
            raise SystemExit(f"other_numbers.csv: {cells['number']} is there already")
        if at is None:
            if cells["target"] not in row_of:
                raise SystemExit(f"other_numbers.csv: {cells['target']} is not there")
            old = base.target(row_of[cells["target"]])
            at = place[normalise(cells["target"])] = len(made)
            made.append((replace(old, origin="supplement", grade="fair"), [old.name]))
        target, replaced = made[at]
        place[normalise(cells["number"])] = at
        made[at] = (
            replace(target, identifiers=(*target.identifiers, cells["number"])),
            replaced,
        )
    return made


def honest(target: Target) -> Target:
    """No target is firm with a remembered part."""
    remembered = any("remembered" in source for source in target.sources.values())
    return replace(target, grade="fair") if remembered and target.grade == "firm" else target


def with_constellations(made: Built) -> Built:
    """Missing constellations, by the boundaries of Roman 1987 (PASP 99, 695)."""
    from astropy import units as u
    from astropy.coordinates import SkyCoord, get_constellation

    ra = [target.ra_deg for target, _ in made] * u.deg
    dec = [target.dec_deg for target, _ in made] * u.deg
    found = get_constellation(SkyCoord(ra, dec), short_name=True)
    return [
        (replace(target, constellation=str(name)), replaced)
        for (target, replaced), name in zip(made, found, strict=True)
    ]


def cell_of(target: Target, column: str) -> str:
    """One value as it stands in supplement.csv."""
    value = getattr(target, column)
    if value is None:
        return ""
    if column == "outline":
        return LIST_SEPARATOR.join(f"{east:.1f} {north:.1f}" for east, north in value)
    if column in LIST_COLUMNS:
        return LIST_SEPARATOR.join(value)
    if column in FLOAT_COLUMNS:
        return f"{value:.5f}".rstrip("0").rstrip(".")
    return str(value)


def build() -> Built:
    """Every target of the supplement, with the OpenNGC rows that it stands for."""
    columns = openngc_columns(HERE / "openngc.csv")
    base = Catalog(**columns)
    row_of = {str(name): row for row, name in enumerate(base.name)}
    made = checked(by_hand(base, row_of), base, row_of)
    made = numbered(classic(made, base, row_of), base, row_of)
    made = with_angles_of_groups(made, base)
    dropped = {row_of[name] for _, replaced in made for name in replaced}
    alone = columns_of([target for target, _ in made])
    catalog = Catalog(**joined(kept(columns, dropped), alone))
    made += composites(catalog, row_of, base)
    return with_constellations([(honest(target), replaced) for target, replaced in made])


def main(folder: Path = HERE) -> None:
    """Write supplement.csv into `folder`."""
    made = build()
    names = [column.name for column in fields(Catalog) if column.name != "origin"]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["name", "replaces", *names[1:]])
    for target, replaced in made:
        cells = [cell_of(target, column) for column in names]
        writer.writerow([cells[0], LIST_SEPARATOR.join(replaced), *cells[1:]])
    (folder / "supplement.csv").write_bytes(text.getvalue().encode("utf-8"))
    print(f"{len(made)} targets", file=sys.stderr)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
