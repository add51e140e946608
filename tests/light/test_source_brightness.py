"""What targets send: published lines, class defaults, colours, and velocity."""

from __future__ import annotations

import numpy as np
import pytest

from nightplan.light.line_brightness import CLASSES, LINE_NM, nebula_lines, published_lines
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


def test_labels_tell_published_from_default() -> None:
    found = nebula_lines("emission_nebula", ("Caldwell 20", "NGC 7000"))
    guess = nebula_lines("emission_nebula", ("Nobody 1",))
    assert found is not None
    assert guess is not None
    assert found[1][4].startswith("published")
    assert found[1][2].startswith("class default ratio to H-alpha, published")
    assert set(guess[1]) == {"class default: emission_nebula"}
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
    assert pleiades.continuum_source == "class default: reflection_nebula"
    assert np.all(pleiades.line_rate == 0.0)


def test_fixed_line_ratios() -> None:
    # Storey & Zeippen 2000: O III 500.7/495.9 = 2.98, N II 658.3/654.8 = 3.05.
    lines = nebula_lines("planetary_nebula", ())
    assert lines is not None
    assert lines[0][2] / lines[0][1] == pytest.approx(2.98)
    assert lines[0][5] / lines[0][3] == pytest.approx(3.05)
    # Case B with reddening: H-alpha/H-beta above 3.86 in photons (Osterbrock & Ferland 2006).
    assert lines[0][4] / lines[0][0] > 3.86


def test_planetary_nebula_from_its_h_beta_flux() -> None:
    # M 27: log F(H-beta) = -9.46 (Cahn et al. 1992, from memory), H-alpha/H-beta 3.3 with its
    # reddening, 8.0' x 5.7'; 3.03e-12 erg a photon. Tolerance 15 %.
    photons = 10**-9.46 * 3.3 / 3.03e-12
    rayleigh = photons / (np.pi / 4 * 480 * 342) / PHOTONS_PER_RAYLEIGH
    assert published_lines()["NGC 6853"][0]["h_alpha"] == pytest.approx(rayleigh, rel=0.15)


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
    assert brightness_label(far, band, 1.0, 0.0).startswith("class default")
    veil = target_source(TargetFacts("supernova_remnant", ("NGC 6960",)))
    oxygen = filter_passband(500.9, 3.0)
    assert brightness_label(veil, oxygen, 0.0, 1.0).startswith("published")


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


def test_planetary_magnitude_becomes_line_light() -> None:
    faint, bright = (
        target_source(TargetFacts("planetary_nebula", ("x",), (), None, "", "", m, "V", 2.0, 2.0))
        for m in (12.0, 9.5)
    )
    assert bright.line_rate == pytest.approx(10.0 * faint.line_rate)
    assert "catalogue" in bright.line_sources[2]
    assert bright.line_rate.shape == LINE_NM.shape
