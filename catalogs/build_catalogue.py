"""Build ``openngc.csv`` and its attribution from the OpenNGC database inside pyongc.

    python catalogs/build_catalogue.py [FOLDER]

Reads the package's sqlite file in place, without network, and writes the two files into FOLDER
(this folder by default). A second run with the same pyongc gives the same bytes.
"""

from __future__ import annotations

import csv
import importlib.metadata
import importlib.util
import io
import math
import re
import sqlite3
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent

COLUMNS = (
    "name", "identifiers", "common_names", "source_type", "kind", "ra_deg", "dec_deg",
    "major_arcmin", "minor_arcmin", "angle_deg", "magnitude_v", "magnitude_b",
    "surface_brightness_b", "radial_velocity_km_s", "constellation", "kind_source", "lines",
)  # fmt: skip

# OpenNGC's object types; "Neb" says only that it is nebulous and some others are wrong: see
# nebula_kinds.csv.
KIND_OF_TYPE = {
    "G": "galaxy", "GPair": "galaxy_group", "GTrpl": "galaxy_group", "GGroup": "galaxy_group",
    "HII": "emission_nebula", "EmN": "emission_nebula", "Neb": "other",
    "RfN": "reflection_nebula", "DrkN": "dark_nebula", "PN": "planetary_nebula",
    "SNR": "supernova_remnant", "OCl": "open_cluster", "GCl": "globular_cluster",
    "Cl+N": "cluster_with_nebula", "*Ass": "star_field", "*": "other", "**": "other",
    "Nova": "other", "Other": "other",
}  # fmt: skip

# What a nebula of this kind shines in, the brightest line first. O III needs a hot star: most
# H II regions of the Galaxy show little of it, those in metal-poor neighbours do.
LINES_OF_KIND = {
    "emission_nebula": "H-alpha;S II",
    "supernova_remnant": "H-alpha;O III;S II",
    "planetary_nebula": "O III;H-alpha",
}
LINES_OUTSIDE = "H-alpha;O III;S II"

# Constellations of the Magellanic Clouds, M 33 and M 101: all their nebulae in OpenNGC are there.
OUTSIDE_THE_GALAXY = {"Dor", "Men", "Tuc", "Hyi", "Tri", "UMa"}

# Cross-identifiers worth typing; surveys with coordinate names and star catalogues stay out.
KEPT_PREFIXES = {
    "PGC": "PGC", "UGC": "UGC", "UGCA": "UGCA", "MCG": "MCG", "ESO": "ESO", "C": "C",
    "LBN": "LBN", "MWSC": "MWSC", "PN": "PN", "PK": "PK", "Cl": "Cr", "Mel": "Mel",
    "SH": "Sh",
}  # fmt: skip

# "C014" and the like are OpenNGC's own row names; H is Harvard's list, Cl Collinder's.
PREFIX_OF_ROW = {"Cl": "Cr", "H": "Harvard"}

SERPENS = {"Se1": "Ser", "Se2": "Ser"}

# Objects that OpenNGC puts on the wrong side of a boundary (Roman 1987, PASP 99, 695).
CONSTELLATION_MENDED = {
    "NGC0630": "Phe",
    "NGC1641": "Dor",
    "NGC1692": "Lep",
    "NGC6079": "Dra",
    "NGC6832": "Dra",
    "NGC6946": "Cep",
    "NGC7438": "Lac",
}

FAULTY_V_ABOVE_B_MAG = 0.3

ATTRIBUTION = """\
openngc.csv is derived from the OpenNGC database, copyright (c) 2017 Mattia Verga and
contributors, taken from the package {package} {version} (PyPI). OpenNGC is licensed under the
Creative Commons Attribution-ShareAlike 4.0 International licence (CC-BY-SA-4.0); so is
openngc.csv. The licence is at https://creativecommons.org/licenses/by-sa/4.0/ and its full
text in LICENSE-CC-BY-SA-4.0.txt beside this file.

Changes made to the data, all by build_catalogue.py:
- duplicated records ({duplicates}) became cross-identifiers of the object that they repeat;
  records of objects that do not exist ({nonexistent}) are left out; {kept} objects remain;
- names and cross-identifiers are spelled with spaces and without leading zeros, Messier numbers
  come first, and only cross-identifiers of deep-sky catalogues are kept;
- positions are in degrees, rounded to 0.00001 degree;
- position angles are taken modulo 180 degrees; a round object has none;
- the two halves of Serpens share the abbreviation Ser, and {mended} objects are moved to the
  constellation that the IAU boundaries put them in;
- types are translated to kinds; {rekinded} objects, most of them typed only as "nebula" or as
  "cluster with nebula", follow nebula_kinds.csv, which is ours, remembered;
- lines are added by kind, and are ours;
- where V > B + {limit} the V magnitude is faulty ({faulty} objects) and is left out.
"""


def display_name(row_name: str) -> str:
    """OpenNGC's row name as people write it: "NGC0224" -> "NGC 224"."""
    match = re.fullmatch(r"([A-Za-z]+)0*(\d+)(-?)0*(.*)", row_name)
    if match is None:
        raise ValueError(f"unexpected name {row_name!r}")
    prefix, number, dash, tail = match.groups()
    return f"{PREFIX_OF_ROW.get(prefix, prefix)} {number}{dash}{tail}"


def display_identifier(text: str) -> str | None:
    """One cross-identifier as people write it, or None when it is not worth keeping."""
    text = text.strip()
    match = re.fullmatch(r"([A-Za-z]+) ?([+\-]?\d.*|G\d.*|2-\d+)", text)
    if match is None or match.group(1) not in KEPT_PREFIXES:
        return None
    prefix, number = KEPT_PREFIXES[match.group(1)], match.group(2)
    if prefix == "ESO" and not re.fullmatch(r"\d+-\d+", number):
        return None
    number = re.sub(r"(?<![\d.])0+(?=\d)", "", number)
    return f"{prefix}{number}" if prefix == "Sh" else f"{prefix} {number}"


def database_path() -> Path:
    """The sqlite file of the installed pyongc, found without importing the package."""
    spec = importlib.util.find_spec("pyongc")
    if spec is None or not spec.submodule_search_locations:
        raise SystemExit("build_catalogue.py needs the package pyongc: pip install pyongc")
    return Path(spec.submodule_search_locations[0]) / "ongc.db"


def read_rows() -> list[dict[str, object]]:
    """Every record of OpenNGC, in the order of its row names."""
    connection = sqlite3.connect(f"{database_path().as_uri()}?mode=ro", uri=True)
    connection.row_factory = sqlite3.Row
    rows = [dict(row) for row in connection.execute("SELECT * FROM objects")]
    connection.close()
    return sorted(rows, key=lambda row: str(row["name"]))


def _listed(text: object) -> list[str]:
    return [part.strip() for part in str(text or "").split(",") if part.strip()]


def references(row: dict[str, object]) -> list[str]:
    """Row names of OpenNGC that a record points to by its columns messier, ngc and ic."""
    found = [f"M{number}" for number in _listed(row["messier"])]
    for column, prefix in (("ngc", "NGC"), ("ic", "IC")):
        found += [f"{prefix}{number}" for number in _listed(row[column])]
    return found


def duplicate_owners(rows: list[dict[str, object]]) -> dict[str, list[dict[str, object]]]:
    """For each object, the records that repeat it (chains of repeats are followed)."""
    by_name = {str(row["name"]): row for row in rows}
    by_name |= {
        f"M{row['messier']}": row for row in rows if row["messier"] and row["type"] != "Dup"
    }

    def owner(row: dict[str, object], seen: frozenset[str]) -> dict[str, object] | None:
        if row["type"] != "Dup":
            return row
        for name in references(row):
            if name in by_name and name not in seen:
                found = owner(by_name[name], seen | {name})
                if found is not None:
                    return found
        return None

    owners: dict[str, list[dict[str, object]]] = {}
    for row in rows:
        if row["type"] == "Dup":
            main = owner(row, frozenset({str(row["name"])}))
            if main is None:
                raise SystemExit(f"{row['name']} repeats an object that is not there")
            owners.setdefault(str(main["name"]), []).append(row)
    return owners


def _number(value: object, digits: int) -> str:
    if value is None or value == "":
        return ""
    text = f"{float(str(value)):.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def lines_of(kind: str, constellation: str) -> str:
    """Lines typical of a kind; a cluster with nebula shows them only outside the Galaxy."""
    outside = constellation in OUTSIDE_THE_GALAXY
    if outside and kind in {"emission_nebula", "cluster_with_nebula"}:
        return LINES_OUTSIDE
    return LINES_OF_KIND.get(kind, "")


def build_rows(
    rows: list[dict[str, object]], kinds: dict[str, str]
) -> tuple[list[list[str]], dict[str, int]]:
    """Rows of openngc.csv and the counts that the attribution tells."""
    owners = duplicate_owners(rows)
    counts = {"duplicates": 0, "nonexistent": 0, "kept": 0, "faulty": 0}
    names_taken = {
        (f"M {int(str(row['messier']))}" if row["messier"] else display_name(str(row["name"])))
        for row in rows
        if row["type"] not in {"Dup", "NonEx"}
    }
    built: list[list[str]] = []
    for row in rows:
        row_name, kind_code = str(row["name"]), str(row["type"])
        if kind_code == "Dup":
            counts["duplicates"] += 1
            continue
        if kind_code == "NonEx":
            counts["nonexistent"] += 1
            continue
        counts["kept"] += 1
        repeats = owners.get(row_name, [])
        plain = display_name(row_name)
        name = f"M {int(str(row['messier']))}" if row["messier"] else plain
        spelled = [plain]
        for source in (row, *repeats):
            spelled.append(display_name(str(source["name"])))
            spelled += [
                display_name(reference)
                for reference in references(source)
                if re.fullmatch(r"(NGC|IC)\d+[A-Z]*", reference)
            ]
        for source in (row, *repeats):
            spelled += [
                kept
                for part in _listed(source["identifiers"])
                if (kept := display_identifier(part))
            ]
        identifiers = [
            text for text in dict.fromkeys(spelled) if text != name and text not in names_taken
        ]
        major, minor, angle = row["majax"], row["minax"], row["pa"]
        if angle is not None:
            angle = int(str(angle)) % 180
        if major == minor:
            angle = None
        v, b = row["vmag"], row["bmag"]
        if v is not None and b is not None and float(str(v)) > float(str(b)) + FAULTY_V_ABOVE_B_MAG:
            counts["faulty"] += 1
            v = None
        kind = kinds.get(row_name, KIND_OF_TYPE[kind_code])
        constellation = CONSTELLATION_MENDED.get(row_name, str(row["const"]))
        common = [re.sub(r"^the ", "", part) for part in _listed(row["commonnames"])]
        built.append(
            [
                name,
                ";".join(identifiers),
                ";".join(common),
                kind_code,
                kind,
                _number(math.degrees(float(str(row["ra"]))), 5),
                _number(math.degrees(float(str(row["dec"]))), 5),
                _number(major, 2),
                _number(minor, 2),
                _number(angle, 0),
                _number(v, 2),
                _number(b, 2),
                _number(row["sbrightn"], 2),
                _number(row["radvel"], 0),
                SERPENS.get(constellation, constellation),
                "remembered" if row_name in kinds else "",
                lines_of(kind, constellation),
            ]
        )
    return built, counts


def main(folder: Path = HERE) -> None:
    """Write openngc.csv and LICENSE-OpenNGC.txt into `folder`."""
    with open(HERE / "nebula_kinds.csv", encoding="utf-8", newline="") as stream:
        kinds = {line["openngc_name"]: line["kind"] for line in csv.DictReader(stream)}
    rows = read_rows()
    strangers = set(kinds) - {str(row["name"]) for row in rows}
    if strangers:
        raise SystemExit(f"nebula_kinds.csv names rows that are not there: {sorted(strangers)}")
    built, counts = build_rows(rows, kinds)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(built)
    (folder / "openngc.csv").write_bytes(text.getvalue().encode("utf-8"))
    attribution = ATTRIBUTION.format(
        package="PyOngc",
        version=importlib.metadata.version("pyongc"),
        limit=FAULTY_V_ABOVE_B_MAG,
        mended=len(CONSTELLATION_MENDED),
        rekinded=len(kinds),
        **counts,
    )
    (folder / "LICENSE-OpenNGC.txt").write_bytes(attribution.encode("utf-8"))
    print(f"{counts['kept']} objects", file=sys.stderr)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
