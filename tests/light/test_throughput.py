"""Electrons in a pixel from a surface, a line and a star."""

from __future__ import annotations

import numpy as np
import pytest

from nightplan.light.passband import top_hat
from nightplan.light.photometry import PHOTONS_PER_RAYLEIGH
from nightplan.light.throughput import (
    collecting_area_cm2,
    image_scale_arcsec_px,
    peak_pixel_share,
    rate_per_pixel,
    star_rate_e_s,
    system_response,
)


def test_zero_magnitude_star_through_100_nm_at_550() -> None:
    # 1000 photons/s/cm2/A (Allen's Astrophysical Quantities, 4th ed., table 15.6, from memory)
    # over 1000 A and a 10 cm aperture: 7.85e7; tolerance 3 %.
    band = top_hat(500.0, 600.0)
    rate = float(star_rate_e_s(band, 0.0, collecting_area_cm2(100.0)))
    assert rate == pytest.approx(1000.0 * 1000.0 * 78.54, rel=0.03)


def test_obstruction_and_scale() -> None:
    assert collecting_area_cm2(200.0, 100.0) == pytest.approx(0.75 * collecting_area_cm2(200.0))
    # 206.265 x 3.76 um / 530 mm = 1.463 arcsec (common practice's formula)
    assert image_scale_arcsec_px(3.76, 530.0) == pytest.approx(206.265 * 3.76 / 530.0, rel=1e-5)


def test_line_of_100_rayleighs_per_pixel() -> None:
    # By hand: 100 R = 1.87e-4 photons/s/cm2/arcsec2; 100 cm2, 4 arcsec2 a pixel, all seen.
    rate = rate_per_pixel(100.0 * PHOTONS_PER_RAYLEIGH, 100.0, 2.0)
    assert float(rate) == pytest.approx(1.87e-4 * 400.0, rel=1e-3)


def test_response_is_the_product() -> None:
    response = system_response(top_hat(490, 510, 0.9), [400, 600], [0.6, 0.8], 0.95)
    assert float(response.at(500.0)) == pytest.approx(0.9 * 0.7 * 0.95)


def test_reducer_gains_per_pixel_not_per_object() -> None:
    area = collecting_area_cm2(112.0)
    native = image_scale_arcsec_px(3.9, 784.0)
    reduced = image_scale_arcsec_px(3.9, 784.0 * 0.75)
    per_pixel = rate_per_pixel(1e-3, area, reduced) / rate_per_pixel(1e-3, area, native)
    assert float(per_pixel) == pytest.approx(1 / 0.75**2)
    assert reduced**-2 * per_pixel == pytest.approx(native**-2)


def test_peak_pixel_of_a_gaussian_star() -> None:
    # An independent sum: the Gaussian on a fine grid over the central pixel.
    fwhm = np.hypot(2.5, 1.03 * 550e-6 / 112 * 206264.8)
    sigma = fwhm / 2.354820
    fine = (np.arange(-500, 500) + 0.5) / 1000.0 * 1.03
    grid = np.exp(-(fine[:, None] ** 2 + fine**2) / (2 * sigma**2)) / (2 * np.pi * sigma**2)
    expected = grid.sum() * (1.03 / 1000.0) ** 2
    assert peak_pixel_share(2.5, 1.03, 112.0) == pytest.approx(expected, rel=1e-4)


def test_a_spider_takes_its_strips() -> None:
    """200 mm with 70 mm inside: π/4 (40000 - 4900) = 27567 mm²; four strips of 0.8 × 65 mm are
    208 mm²."""
    assert collecting_area_cm2(200.0, 70.0, 4, 0.8) == pytest.approx((27567.5 - 208.0) / 100.0)
    assert collecting_area_cm2(112.0, vanes=0, vane_mm=5.0) == collecting_area_cm2(112.0)
