"""Passbands: shape, cone of a fast beam, Doppler shift."""

from __future__ import annotations

import numpy as np
import pytest

from nightplan.light.passband import filter_passband, line_transmission, top_hat


def _half_maximum(band) -> tuple[float, float]:
    above = band.wavelength_nm[band.response >= 0.5 * band.response.max()]
    return above[0], above[-1]


def test_width_and_peak_of_a_parallel_beam() -> None:
    for width in (3.0, 7.0, 100.0):
        band = filter_passband(656.4, width, 0.9)
        low, high = _half_maximum(band)
        assert high - low == pytest.approx(width, abs=width / 40)
        assert 0.5 * (low + high) == pytest.approx(656.4, abs=width / 40)
        assert band.response.max() == pytest.approx(0.9)
        assert band.effective_nm == pytest.approx(656.4, abs=width / 1e4)


@pytest.mark.parametrize(("focal_ratio", "obstruction"), [(7.0, 0.0), (3.0, 0.0), (2.0, 0.5)])
def test_cone_moves_the_centre_by_the_mean_of_the_pupil(focal_ratio, obstruction) -> None:
    # Small angles: shift = lambda sin^2(theta) / (2 n^2); over a ring of pupil the mean of
    # tan^2(theta) is (1 + e^2)/2 of the edge's (an integral done by hand).
    index = 2.0
    band = filter_passband(656.4, 3.0, 1.0, None, focal_ratio, index, obstruction)
    edge2 = (0.5 / focal_ratio) ** 2
    mean_shift = 656.4 * edge2 * (1 + obstruction**2) / 2 / (2 * index**2)
    assert 656.4 - band.effective_nm == pytest.approx(mean_shift, rel=0.06)


def test_cone_lowers_and_widens_but_keeps_the_light() -> None:
    flat = filter_passband(500.7, 3.0)
    cone = filter_passband(500.7, 3.0, focal_ratio=2.0, effective_index=1.7)
    assert cone.response.max() < flat.response.max()
    area = np.trapezoid(cone.response, cone.wavelength_nm)
    assert area == pytest.approx(np.trapezoid(flat.response, flat.wavelength_nm), rel=0.02)


def test_obstruction_shifts_more_than_a_clear_pupil() -> None:
    clear = filter_passband(656.3, 3.0, focal_ratio=2.2)
    ring = filter_passband(656.3, 3.0, focal_ratio=2.2, obstruction_ratio=0.5)
    assert ring.effective_nm < clear.effective_nm


def test_radial_velocity() -> None:
    band = top_hat(654.8, 657.8)
    # 1000 km/s moves H-alpha by 2.19 nm, out of a 3 nm filter; -300 km/s (M 31) by -0.66.
    assert float(line_transmission(band, 656.28, 0.0)) == 1.0
    assert float(line_transmission(band, 656.28, 1000.0)) == 0.0
    assert float(line_transmission(band, 656.28, -300.0)) == 1.0
    assert float(line_transmission(band, 656.28, -700.0)) == 0.0
    # Exact formula at half the speed of light: sqrt(3) (special relativity).
    far = top_hat(500 * 3**0.5 - 0.01, 500 * 3**0.5 + 0.01)
    assert float(line_transmission(far, 500.0, 299792.458 / 2)) == 1.0
