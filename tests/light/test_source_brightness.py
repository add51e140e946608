"""What targets send: published lines, class defaults, colours, and velocity."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from nightplan.light.line_brightness import (
    CLASSES,
    LINE_NM,
    class_h_alpha_rayleigh,
    nebula_lines,
    published_lines,
)
from nightplan.light.passband import filter_passband, top_hat
from nightplan.light.photometry import PHOTONS_PER_RAYLEIGH
from nightplan.light.source_brightness import (
    CONTINUA,
    TargetFacts,
    brightness_label,
    mean_surface_brightness,
    source_rates,
    target_source,
)
from nightplan.model.catalog_reading import load_catalog

REFERENCE = Path(__file__).parents[1] / "reference"


def test_labels_tell_published_from_default() -> None:
    found = nebula_lines("emission_nebula", ("Caldwell 20", "NGC 7000"))
    guess = nebula_lines("emission_nebula", ("Nobody 1",))
    assert found is not None
    assert guess is not None
    assert found[1][4].startswith("remembered")
    assert found[1][6].startswith("typical of its kind over H-alpha, remembered")
    assert set(guess[1]) == {"typical of its kind, ×7 either way: emission nebula"}
    assert found[0][4] == 300.0
    assert nebula_lines("galaxy", ("M 31",)) is None


def test_every_kind_of_the_catalogue_is_known() -> None:
    from nightplan.model.target import KINDS

    assert set(CONTINUA) == set(KINDS)
    assert set(CLASSES) <= set(KINDS)


def test_lines_follow_what_the_target_is_known_for() -> None:
    all_three = nebula_lines("emission_nebula", (), ("H-alpha", "O III", "S II"))
    hydrogen = nebula_lines("emission_nebula", (), ("H-alpha",))
    oxygen = nebula_lines("emission_nebula", (), ("O III",))
    assert all_three is not None
    assert hydrogen is not None
    assert oxygen is not None
    assert hydrogen[0][2] < 0.5 * all_three[0][2]
    assert hydrogen[0][6] < 0.5 * all_three[0][6]
    assert oxygen[0][2] >= oxygen[0][4]
    assert nebula_lines("cluster_with_nebula", ("M 45",), ()) is None
    assert nebula_lines("dark_nebula", ("B 33",), ("H-alpha",)) is not None
    pleiades = target_source(TargetFacts("cluster_with_nebula", ("M 45",)))
    assert pleiades.continuum_source.startswith("remembered")
    other = target_source(TargetFacts("cluster_with_nebula", ("Nobody 1",)))
    assert other.continuum_source == "typical of its kind, ×4 either way: reflection nebula"
    assert np.all(pleiades.line_rate == 0.0)


def test_fixed_line_ratios() -> None:
    # Storey & Zeippen 2000: O III 500.7/495.9 = 2.98, N II 658.3/654.8 = 3.05.
    lines = nebula_lines("planetary_nebula", ())
    assert lines is not None
    assert lines[0][2] / lines[0][1] == pytest.approx(2.98)
    assert lines[0][5] / lines[0][3] == pytest.approx(3.05)
    # Case B with reddening: H-alpha/H-beta above 3.86 in photons (Osterbrock & Ferland 2006).
    assert lines[0][4] / lines[0][0] > 3.86


def rows_of(name: str) -> list[dict[str, str]]:
    with open(REFERENCE / name, encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(line for line in stream if not line.startswith("#")))


@pytest.mark.parametrize("row", rows_of("light_planetary_h_beta.csv"), ids=lambda row: row["name"])
def test_planetary_fluxes_against_their_h_beta(row: dict[str, str]) -> None:
    """Source, law and tolerance: head of tests/reference/light_planetary_h_beta.csv."""
    expected = float(row["log_h_beta"]) + np.log10(2.86) + 0.32 * float(row["c"])
    assert published_lines()[row["name"]].log_flux == pytest.approx(expected, abs=0.15)


@pytest.mark.parametrize("row", rows_of("light_o_iii_ratios.csv"), ids=lambda row: row["name"])
def test_o_iii_over_h_alpha(row: dict[str, str]) -> None:
    """Source, conversion and tolerance: head of tests/reference/light_o_iii_ratios.csv."""
    energy = float(row["o_iii_over_h_beta"]) / float(row["h_alpha_over_h_beta"])
    assert published_lines()[row["name"]].o_iii_ratio == pytest.approx(
        energy * 500.7 / 656.3, rel=0.25
    )


def test_a_flux_is_spread_over_the_ellipse() -> None:
    # M 97 by hand: 10^-9.91 erg/s/cm² over 3.5' x 3.4' of 33,646 arcsec², 3.027e-12 erg a photon,
    # 1.870e-6 photons/s/cm²/arcsec² a rayleigh: 646 R.
    owl = nebula_lines("planetary_nebula", ("NGC 3587",), (), np.pi / 4.0 * 3.5 * 3.4)
    assert owl is not None
    assert owl[0][4] == pytest.approx(646.0, rel=0.01)
    assert owl[1][4].startswith("remembered: Frew")


def test_typical_planetaries_fade_as_they_grow() -> None:
    """Large old ones are no brighter than the faint listed ones (30 R at 10', 5 R at 15')."""
    assert class_h_alpha_rayleigh("planetary_nebula", np.pi / 4 * 10.0**2) < 60.0
    assert class_h_alpha_rayleigh("planetary_nebula", np.pi / 4 * 15.0**2) < 15.0
    assert class_h_alpha_rayleigh("planetary_nebula", np.pi / 4 * 0.4**2) > 1e4


@pytest.mark.parametrize("kind", ["planetary_nebula", "emission_nebula", "supernova_remnant"])
def test_the_spread_of_typical_values_holds_for_listed_nebulae(kind: str) -> None:
    """Three of four listed nebulae lie within the factor that is printed."""
    catalog = load_catalog()
    ratios = []
    # A row with two names is one nebula.
    for light, name in {light: name for name, light in published_lines().items()}.items():
        target = catalog.target(catalog.find(name))
        major, minor = target.axes_arcmin or (0.0, 0.0)
        area = np.pi / 4.0 * major * minor
        listed = light.h_alpha_rayleigh(area)
        if target.kind == kind and listed is not None:
            ratios.append(class_h_alpha_rayleigh(kind, area) / listed)
    assert len(ratios) >= 6
    spread = CLASSES[kind].spread
    within = (np.array(ratios) < spread) & (np.array(ratios) > 1.0 / spread)
    assert within.mean() >= 0.75


@pytest.mark.parametrize("kind", ["galaxy", "galaxy_group", "globular_cluster"])
def test_the_spread_of_typical_continua_holds_for_the_catalogue(kind: str) -> None:
    """Three of four rows with a figure (OpenNGC after HyperLeda, or V over area) lie within it."""
    catalog, typical = load_catalog(), CONTINUA[kind]
    value = catalog.surface_brightness_mag_arcsec2
    known = (catalog.kind == kind) & np.isfinite(value)
    in_blue = catalog.surface_brightness_band[known] == "B"
    apart = value[known] - np.where(in_blue, typical.b_minus_v, 0.0) - typical.v_mag
    assert known.sum() > 20
    assert typical.spread is not None
    assert np.mean(np.abs(apart) < 2.5 * np.log10(typical.spread)) >= 0.75


def test_the_spread_of_typical_dust_holds_for_listed_nebulae() -> None:
    """Three of four reflection nebulae with a remembered figure lie within what is printed."""
    catalog, typical = load_catalog(), CONTINUA["reflection_nebula"]
    apart = []
    for name, light in published_lines().items():
        target = catalog.target(catalog.find(name))
        if light.continuum_v is not None and target.kind == "reflection_nebula":
            major, minor = target.axes_arcmin or (None, None)
            unnamed = TargetFacts(target.kind, (), major_arcmin=major, minor_arcmin=minor)
            apart.append(target_source(unnamed).v_mag - light.continuum_v)
    assert len(apart) >= 10
    assert typical.spread is not None
    assert np.mean(np.abs(apart) < 2.5 * np.log10(typical.spread)) >= 0.75


def test_the_crab_shines_in_continuum_and_lines() -> None:
    """Source: V 8.4 over 7' x 5', handbooks, remembered: 20.9 mag/arcsec², a tenth of it lines."""
    crab = target_source(
        TargetFacts("supernova_remnant", ("M 1", "NGC 1952"), major_arcmin=7.0, minor_arcmin=5.0)
    )
    assert crab.v_mag == pytest.approx(mean_surface_brightness(8.4, 7.0, 5.0) + 0.1, abs=0.15)
    assert crab.line_rate[4] > 100.0 * PHOTONS_PER_RAYLEIGH
    assert crab.line_rate[2] > crab.line_rate[4]


def test_only_lines_that_a_target_has() -> None:
    squid = nebula_lines("emission_nebula", ("Ou4",), ("O III",))
    assert squid is not None
    assert squid[0][2] > 3.0 * squid[0][4]


def test_rate_of_a_pure_line() -> None:
    source = target_source(TargetFacts("emission_nebula", ("NGC 1499",)))
    band = filter_passband(656.3, 3.0, 0.9)
    _, lines = source_rates([source], [band])
    # by hand: 350 R of H-alpha, and the N II that leaks through the wings
    h_alpha = 350.0 * PHOTONS_PER_RAYLEIGH * 0.9
    assert h_alpha < lines[0, 0] < 1.2 * h_alpha


def test_velocity_takes_a_galaxys_line_out_of_the_filter() -> None:
    still, far = (
        target_source(TargetFacts("galaxy", ("x",), radial_velocity_km_s=velocity))
        for velocity in (0.0, 1500.0)
    )
    band = filter_passband(656.4, 3.0)
    _, lines = source_rates([still, far], [band])
    assert lines[1, 0] < 0.1 * lines[0, 0]
    assert brightness_label(far, band, 1.0, 0.0).startswith("typical of its kind")
    veil = target_source(TargetFacts("supernova_remnant", ("NGC 6960",)))
    oxygen = filter_passband(500.9, 3.0)
    assert brightness_label(veil, oxygen, 0.0, 1.0).startswith("remembered")


def test_mean_surface_brightness_of_a_round_target() -> None:
    # V = 10 over a circle of 2 arcmin: 10 + 2.5 log10(pi 60^2) = 20.13.
    assert mean_surface_brightness(10.0, 2.0, 2.0) == pytest.approx(20.134, abs=0.001)


def test_catalogue_v_and_b() -> None:
    in_v = target_source(TargetFacts("galaxy", ("x",), (), 22.0, "V", "OpenNGC"))
    in_b = target_source(TargetFacts("galaxy", ("x",), (), 22.8, "B", "OpenNGC"))
    assert in_v.v_mag == pytest.approx(in_b.v_mag)
    band = top_hat(480.0, 620.0)
    continuum, _ = source_rates([in_v], [band])
    assert float(band.ab_mag(continuum[0, 0])) == pytest.approx(22.0, abs=0.05)


def test_a_stars_magnitude_is_no_line_light() -> None:
    plain, starry = (
        target_source(TargetFacts("planetary_nebula", ("x",), (), None, "", "", m, "B", 2.0, 2.0))
        for m in (None, 9.5)
    )
    assert np.array_equal(plain.line_rate, starry.line_rate)
    assert plain.line_rate.shape == LINE_NM.shape


def test_wide_reflection_nebulae_are_faint() -> None:
    """Remembered: dust lit by the Galaxy 26 mag/arcsec², nebulae of ten arcminutes 22 to 23."""
    small, wide = (
        target_source(TargetFacts("reflection_nebula", ("x",), major_arcmin=size)).v_mag
        for size in (6.0, 180.0)
    )
    assert small < 23.0
    assert 24.5 < wide < 26.0
