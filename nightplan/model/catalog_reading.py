"""Reading the bundled catalogue files; the supplement and own targets go over OpenNGC's rows."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from nightplan.errors import FileError
from nightplan.model.catalog import FLOAT_COLUMNS, LIST_COLUMNS, LIST_SEPARATOR, Catalog
from nightplan.model.catalog_files import catalog_folder
from nightplan.model.name_lookup import normalise
from nightplan.model.target import Outline, Target

TEXT_COLUMNS = ("kind", "constellation", "grade", "surface_brightness_band")

ISOPHOTE_SOURCE = "OpenNGC (HyperLeda, mean inside the isophote of 25 B mag/arcsec²)"
DERIVED_SOURCE = "derived from magnitude and ellipse"
MEASURED_SOURCE = "OpenNGC"
TYPICAL_SOURCE = "typical of its kind"

# A published mean brightness this far from magnitude over area is a slip of one of them.
_BRIGHTNESS_SLIP_MAG = 2.5

# Magnitudes of other plain nebulae are mostly those of their star or cluster.
_DERIVED_FOR_PLAIN = ("galaxy", "galaxy_group", "globular_cluster", "planetary_nebula")
_NEVER_DERIVED = ("open_cluster", "star_field", "dark_nebula")

Columns = dict[str, np.ndarray]


def load_catalog(extra_targets: Sequence[Target] = ()) -> Catalog:
    """The bundled catalogue: OpenNGC, the supplement laid over it, and one's own targets.

    A target of the user's own takes the place of the bundled one that has its name, and inherits
    what it leaves open (kind, lines, magnitudes, velocity, names). Raises FileError (the bundled
    files are missing or damaged).
    """
    folder = catalog_folder()
    base = openngc_columns(folder / "openngc.csv")
    supplement, replaced = _supplement_columns(folder / "supplement.csv")
    dropped = {row for row, name in enumerate(base["name"]) if name in replaced}
    columns = joined(kept(base, dropped), supplement)
    if extra_targets:
        columns = _with_own(columns, extra_targets)
    _complete_brightness(columns)
    return Catalog(**columns)


def _rows(path: Path) -> tuple[list[str], list[list[str]]]:
    try:
        with open(path, encoding="utf-8", newline="") as stream:
            header, *rows = csv.reader(stream)
    except (OSError, ValueError) as error:
        raise FileError(path, f"the bundled catalogue cannot be read: {error}") from error
    return header, rows


def _floats(texts: Sequence[str]) -> np.ndarray:
    # numpy reads one text of many numbers several times faster than Python reads many texts
    return np.fromstring("\n".join([text or "nan" for text in texts]), sep="\n")


def _objects(texts: Sequence[Any]) -> np.ndarray:
    made = np.empty(len(texts), dtype=object)
    made[:] = texts
    return made


def openngc_columns(path: Path) -> Columns:
    """OpenNGC's rows as columns of a `Catalog`."""
    header, rows = _rows(path)
    table = dict(zip(header, zip(*rows, strict=True), strict=True))
    count = len(rows)
    table["surface_brightness_mag_arcsec2"] = table["surface_brightness_b"]
    columns: Columns = {name: _floats(table[name]) for name in FLOAT_COLUMNS}
    columns |= {name: _objects(table[name]) for name in ("name", *LIST_COLUMNS)}
    columns["kind"] = np.array(table["kind"])
    columns["constellation"] = np.array(table["constellation"])
    measured = ~np.isnan(columns["surface_brightness_mag_arcsec2"])
    columns["surface_brightness_band"] = np.where(measured, "B", "")
    columns["surface_brightness_source"] = _labels(measured, ISOPHOTE_SOURCE)
    columns["size_source"] = _labels(~np.isnan(columns["major_arcmin"]), MEASURED_SOURCE)
    columns["angle_source"] = _labels(~np.isnan(columns["angle_deg"]), MEASURED_SOURCE)
    columns["position_source"] = _labels(np.ones(count, dtype=bool), MEASURED_SOURCE)
    columns["kind_source"] = _objects([text or MEASURED_SOURCE for text in table["kind_source"]])
    columns["lines_source"] = _labels(columns["lines"] != "", TYPICAL_SOURCE)
    has_magnitude = ~(np.isnan(columns["magnitude_v"]) & np.isnan(columns["magnitude_b"]))
    columns["magnitude_source"] = _labels(has_magnitude, MEASURED_SOURCE)
    columns["grade"] = np.full(count, "unchecked")
    columns["outline"] = np.full(count, None, dtype=object)
    columns["outline_source"] = np.full(count, "", dtype=object)
    columns["note"] = np.full(count, "", dtype=object)
    columns["origin"] = np.full(count, "openngc", dtype=object)
    return columns


def _labels(where: np.ndarray, label: str) -> np.ndarray:
    made = np.full(len(where), "", dtype=object)
    made[where] = label
    return made


def columns_of(targets: Sequence[Target]) -> Columns:
    """Targets as columns of a `Catalog`."""
    columns: Columns = {}
    for column in fields(Catalog):
        values = [getattr(target, column.name) for target in targets]
        if column.name in FLOAT_COLUMNS:
            columns[column.name] = np.array(
                [np.nan if value is None else float(value) for value in values], dtype=float
            )
        elif column.name in LIST_COLUMNS:
            columns[column.name] = _objects([LIST_SEPARATOR.join(value) for value in values])
        elif column.name in TEXT_COLUMNS:
            columns[column.name] = np.array(values, dtype=str)
        else:
            columns[column.name] = _objects(values)
    return columns


def joined(first: Columns, second: Columns) -> Columns:
    """Rows of both."""
    return {name: np.concatenate([first[name], second[name]]) for name in first}


def kept(columns: Columns, dropped: set[int]) -> Columns:
    """All rows but those dropped."""
    keep = np.ones(len(columns["ra_deg"]), dtype=bool)
    keep[list(dropped)] = False
    return {name: values[keep] for name, values in columns.items()}


def _supplement_columns(path: Path) -> tuple[Columns, set[str]]:
    """The targets of supplement.csv, and the OpenNGC rows whose place they take."""
    header, rows = _rows(path)
    table = dict(zip(header, zip(*rows, strict=True), strict=True))
    columns: Columns = {name: _floats(table[name]) for name in FLOAT_COLUMNS}
    for column in fields(Catalog):
        if column.name in TEXT_COLUMNS:
            columns[column.name] = np.array(table[column.name])
        elif column.name == "outline":
            columns["outline"] = _objects([_outline(cell) for cell in table["outline"]])
        elif column.name == "origin":
            columns["origin"] = np.full(len(rows), "supplement", dtype=object)
        elif column.name not in FLOAT_COLUMNS:
            columns[column.name] = _objects(table[column.name])
    replaced = LIST_SEPARATOR.join(cell for cell in table["replaces"] if cell)
    return columns, set(replaced.split(LIST_SEPARATOR))


def _outline(cell: str) -> Outline | None:
    if not cell:
        return None
    corners = (corner.split() for corner in cell.split(LIST_SEPARATOR))
    return tuple((float(east), float(north)) for east, north in corners)


def _with_own(columns: Columns, own: Sequence[Target]) -> Columns:
    """The user's targets in place of the bundled ones that have their names, or added."""
    catalog = Catalog(**columns)
    dropped: set[int] = set()
    made: dict[str, Target] = {}
    for target in own:
        key = normalise(target.name)
        row = catalog.names.designations.get(key)
        rows = [row] if row is not None else catalog.names.common.get(key, [])
        if len(rows) == 1:
            dropped.add(rows[0])
            made[key] = _inheriting(target, catalog.target(rows[0]))
        else:
            made[key] = replace(target, origin="user")
    return joined(kept(columns, dropped), columns_of(list(made.values())))


def _inheriting(own: Target, old: Target) -> Target:
    """An own target with what it leaves open taken from the bundled one; never its ellipse."""
    names = dict.fromkeys((*own.identifiers, old.name, *old.identifiers))
    same = normalise(own.name)
    common = own.common_names or old.common_names
    return replace(
        own,
        origin="user",
        identifiers=tuple(name for name in names if normalise(name) != same),
        common_names=tuple(name for name in common if normalise(name) != same),
        kind=old.kind if own.kind == "other" else own.kind,
        lines=own.lines or old.lines,
        magnitude_v=old.magnitude_v if own.magnitude is None else own.magnitude_v,
        magnitude_b=old.magnitude_b if own.magnitude is None else own.magnitude_b,
        radial_velocity_km_s=(
            old.radial_velocity_km_s
            if own.radial_velocity_km_s is None
            else own.radial_velocity_km_s
        ),
        constellation=own.constellation or old.constellation,
    )


def _complete_brightness(columns: Columns) -> None:
    """Fill missing surface brightness from magnitude and ellipse, and mend plain slips.

    mean mag/arcsec² = m + 2.5 log10(pi/4 * major * minor * 3600), axes in arcminutes: the total
    light spread evenly over the ellipse.
    """
    v, b = columns["magnitude_v"], columns["magnitude_b"]
    with np.errstate(invalid="ignore"):
        use_b = np.isnan(v) | (v > b + 0.3)
    magnitude = np.where(use_b, b, v)
    major, minor = columns["major_arcmin"], columns["minor_arcmin"]
    area_arcmin2 = np.pi / 4.0 * major * np.where(np.isnan(minor), major, minor)
    derived = magnitude + 2.5 * np.log10(area_arcmin2 * 3600.0)
    plain = columns["origin"] == "openngc"
    fits = np.where(
        plain,
        np.isin(columns["kind"], _DERIVED_FOR_PLAIN),
        ~np.isin(columns["kind"], _NEVER_DERIVED),
    )
    given = columns["surface_brightness_mag_arcsec2"]
    with np.errstate(invalid="ignore"):
        slip = (columns["origin"] != "user") & (np.abs(given - derived) > _BRIGHTNESS_SLIP_MAG)
    filled = fits & ~np.isnan(derived) & (np.isnan(given) | slip)
    columns["surface_brightness_mag_arcsec2"] = np.where(filled, derived, given)
    columns["surface_brightness_band"] = np.where(
        filled, np.where(use_b, "B", "V"), columns["surface_brightness_band"]
    )
    source = columns["surface_brightness_source"].copy()
    source[filled] = DERIVED_SOURCE
    columns["surface_brightness_source"] = source
