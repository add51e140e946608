"""What is said of a target: its figures, each with source and grade, in one line."""

from __future__ import annotations

import pytest

from nightplan.light.line_brightness import class_label
from nightplan.model.catalog import Catalog
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.target import Target
from nightplan.planning.photons.target_brightness import target_brightness
from nightplan.report.documents.target import field_grade, target_document
from nightplan.report.texts.target_line import short_source, target_line
from nightplan.report.wording.words import hours_words

FIELDS = {"position", "size", "angle", "kind", "lines", "brightness"}


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


@pytest.mark.parametrize("name", ["M 31", "NGC 7000", "Sh2-240", "B 33", "M 27", "NGC 891", "M 45"])
def test_every_figure_has_its_source_and_grade(catalog: Catalog, name: str) -> None:
    target = catalog.target(catalog.find(name))
    document = target_document(target)
    assert set(document.sources) <= FIELDS
    assert set(document.grades) == set(document.sources)
    assert {"position", "kind", "brightness"} <= set(document.sources)
    assert ("size" in document.sources) == (document.major_arcmin is not None)
    line = target_line(document)
    for field in ("kind", "size", "brightness"):
        if field in document.sources:
            assert short_source(document.sources[field]) in line
            assert document.grades[field] in line
    assert "\n" not in line
    assert len(line) <= 200


def test_plain_rows_are_unchecked_and_no_remembered_figure_is_firm(catalog: Catalog) -> None:
    for row in range(0, len(catalog), 23):
        target = catalog.target(row)
        document = target_document(target)
        if target.origin == "openngc":
            assert document.grade == "unchecked"
        for field, source in document.sources.items():
            if "remembered" in source:
                assert document.grades[field] != "firm"
        if document.grade == "firm":
            assert not any("remembered" in source for source in target.sources.values())


def test_brightness_is_what_the_rates_use(catalog: Catalog) -> None:
    """NGC 7000: 300 R of H-alpha listed; O III a tenth of it, by line_brightness.csv."""
    light = target_brightness(catalog.target(catalog.find("NGC 7000")))
    assert light.line_rayleigh["H-alpha"] == pytest.approx(300.0)
    assert light.line_rayleigh["O III"] == pytest.approx(30.0)
    assert light.leading_line == "H-alpha"
    assert "Finkbeiner 2003" in light.source
    galaxy = target_brightness(catalog.target(catalog.find("M 31")))
    assert galaxy.leading_line is None
    assert galaxy.source == galaxy.continuum_source


def test_a_typical_figure_says_its_factor() -> None:
    own = Target(name="Mine", ra_deg=10.0, dec_deg=20.0, kind="emission_nebula", major_arcmin=30.0,
                 lines=("H-alpha",), size_source="configuration")  # fmt: skip
    document = target_document(own)
    assert document.grades["brightness"] == "doubtful"
    assert short_source(class_label("emission_nebula")) in target_line(document)
    assert "either way" in target_line(document)
    assert document.position_angle_deg_reason == "round"
    assert target_document(Target(name="Mine", ra_deg=1.0, dec_deg=2.0)).lines_reason == "unknown"


@pytest.mark.parametrize(
    ("row", "source", "grade"),
    [
        ("firm", "Sharpless 1959 (Sh2-101)", "firm"),
        ("firm", "major Sharpless 1959, minor remembered", "fair"),
        ("doubtful", "remembered", "doubtful"),
        ("fair", "OpenNGC", "unchecked"),
        ("unchecked", "OpenNGC, in agreement with RC3 (1991), remembered", "fair"),
        ("unchecked", "remembered: Frew et al. 2013", "fair"),
        ("fair", "typical of its kind, ×6 either way: emission_nebula", "doubtful"),
        ("unchecked", "configuration", "unchecked"),
    ],
)
def test_grade_of_one_figure(row: str, source: str, grade: str) -> None:
    assert field_grade(row, source) == grade


def test_hours_beyond_a_hundred_are_no_number() -> None:
    assert hours_words(5.34) == "5.3 h"
    assert hours_words(99.94) == "100 h"
    assert hours_words(583.9) == "more than 100 h"


@pytest.mark.parametrize(
    ("source", "short"),
    [
        ("major Lynds 1965 (LBN 373), minor remembered", "Lynds 1965, minor remembered"),
        ("remembered: Finkbeiner 2003; ratio Mathis 1957", "Finkbeiner 2003, remembered"),
        ("OpenNGC (HyperLeda, mean inside the isophote of 25 B mag/arcsec²)", "OpenNGC"),
        ("Barnard 1927 (B 33), by VizieR extract, second hand", "Barnard 1927"),
        ("RC3 (de Vaucouleurs et al. 1991), remembered", "RC3, remembered"),
        ("OpenNGC, in agreement with RC3 (de Vaucouleurs et al. 1991), remembered",
         "OpenNGC and RC3"),
        ("typical of its kind, ×6 either way: emission_nebula",
         "typical of its kind, ×6 either way"),
    ],
)  # fmt: skip
def test_short_sources(source: str, short: str) -> None:
    assert short_source(source) == short
