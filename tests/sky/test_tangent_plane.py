"""Gnomonic projection against astropy.wcs (an independent FITS WCS implementation)."""

import numpy as np
import pytest
from astropy.wcs import WCS
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.sky.angles import position_angle_deg, separation_deg, wrap_axis_deg
from nightplan.sky.tangent_plane import (
    deproject,
    direction_angle_deg,
    field_corners,
    project,
)

TOLERANCE_ARCSEC = 0.01
CENTRES = [
    (10.6847, 41.2690),
    (0.0, 0.0),
    (359.9, 67.2),
    (314.75, 85.0),
    (123.0, 90.0),
    (200.0, -90.0),
    (77.0, -89.7),
    (0.2, -30.0),
]


def camera_wcs(ra, dec, image_up_deg, width_px, height_px, pixel_um, focal_mm, mirrored):
    """A TAN header made by hand from the standard's CD matrix (Calabretta & Greisen 2002)."""
    scale = np.degrees(pixel_um / 1000.0 / focal_mm)
    up = np.radians(image_up_deg)
    sign = 1.0 if mirrored else -1.0
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval = [ra, dec]
    wcs.wcs.lonpole = 180.0  # the standard's default is 0 for a centre right at the pole
    wcs.wcs.crpix = [(width_px + 1) / 2.0, (height_px + 1) / 2.0]
    wcs.wcs.cd = scale * np.array(
        [[sign * np.cos(up), np.sin(up)], [-sign * np.sin(up), np.cos(up)]]
    )
    return wcs


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize(("ra", "dec"), CENTRES)
def test_corners_agree_with_astropy_wcs(ra, dec, mirrored):
    width_px, height_px, pixel_um = 6000, 4000, 3.9
    for focal_mm in (135.0, 588.0, 784.0):
        width = 2.0 * np.degrees(np.arctan(width_px * pixel_um / 2000.0 / focal_mm))
        height = 2.0 * np.degrees(np.arctan(height_px * pixel_um / 2000.0 / focal_mm))
        for up in (0.0, 37.0, 90.0, 179.9, 271.3):
            wcs = camera_wcs(ra, dec, up, width_px, height_px, pixel_um, focal_mm, mirrored)
            edge = [
                (0.5, 0.5),
                (width_px + 0.5, 0.5),
                (width_px + 0.5, height_px + 0.5),
                (0.5, height_px + 0.5),
            ]
            theirs = wcs.all_pix2world(edge, 1)
            ours_ra, ours_dec = field_corners(ra, dec, up, width, height, mirrored)
            apart = separation_deg(ours_ra, ours_dec, theirs[:, 0], theirs[:, 1])
            assert apart.max() * 3600.0 < TOLERANCE_ARCSEC


@pytest.mark.parametrize(("ra", "dec"), CENTRES)
def test_projection_agrees_with_astropy_wcs(ra, dec):
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval = [ra, dec]
    wcs.wcs.lonpole = 180.0  # the standard's default is 0 for a centre right at the pole
    wcs.wcs.crpix = [0.0, 0.0]
    wcs.wcs.cdelt = [1.0, 1.0]
    rng = np.random.default_rng(3)
    xi, eta = rng.uniform(-0.3, 0.3, (2, 200))
    ours_ra, ours_dec = deproject(xi, eta, ra, dec)
    theirs = wcs.all_pix2world(np.degrees(np.stack((xi, eta), axis=1)), 1)
    apart = separation_deg(ours_ra, ours_dec, theirs[:, 0], theirs[:, 1])
    assert apart.max() * 3600.0 < TOLERANCE_ARCSEC
    back_xi, back_eta = project(ours_ra, ours_dec, ra, dec)
    np.testing.assert_allclose(back_xi, xi, atol=1e-12)
    np.testing.assert_allclose(back_eta, eta, atol=1e-12)


@given(
    st.floats(0.0, 359.99),
    st.floats(-90.0, 90.0),
    st.floats(-0.5, 0.5),
    st.floats(-0.5, 0.5),
)
@settings(max_examples=100, deadline=None)
def test_round_trip_and_range(ra, dec, xi, eta):
    sky_ra, sky_dec = deproject(xi, eta, ra, dec)
    assert 0.0 <= sky_ra < 360.0
    assert -90.0 <= sky_dec <= 90.0
    back = project(sky_ra, sky_dec, ra, dec)
    assert np.allclose(back, (xi, eta), atol=1e-11)


def test_far_side_has_no_projection():
    xi, eta = project([180.0, 90.0, 10.0], [0.0, 0.0, 0.0], 0.0, 0.0)
    assert np.isnan(xi[:2]).all()
    assert np.isnan(eta[:2]).all()
    assert xi[2] == pytest.approx(np.tan(np.radians(10.0)))


@pytest.mark.parametrize(("ra", "dec"), [(40.0, 60.0), (359.99, 85.0), (10.0, -88.0)])
def test_direction_of_a_line_off_the_centre(ra, dec):
    # Position angle (Meeus ch. 17, tested apart) from the place to one a little along the line.
    for angle in (0.0, 33.0, 140.0, 290.0):
        xi, eta, step = 0.03, -0.02, 1e-5
        turn = np.radians(angle)
        here = deproject(xi, eta, ra, dec)
        there = deproject(xi + step * np.sin(turn), eta + step * np.cos(turn), ra, dec)
        found = float(direction_angle_deg(xi, eta, angle, ra, dec))
        expected = float(position_angle_deg(*here, *there))
        assert (found - expected + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.002)


def test_direction_at_the_centre_is_the_angle_itself():
    angles = np.arange(0.0, 360.0, 7.0)
    np.testing.assert_allclose(direction_angle_deg(0.0, 0.0, angles, 33.0, 71.0), angles, atol=1e-9)


def test_both_parities_hold_the_same_rectangle():
    plain = field_corners(50.0, 20.0, 25.0, 2.0, 1.3)
    mirror = field_corners(50.0, 20.0, 25.0, 2.0, 1.3, mirrored=True)
    for axis in range(2):
        np.testing.assert_allclose(np.sort(plain[axis]), np.sort(mirror[axis]), atol=1e-10)


def test_long_side_follows_the_stated_convention():
    # Conventions of the project: landscape, position angle = (image up + 90) mod 180.
    ra, dec = field_corners(50.0, 20.0, 30.0, 2.0, 1.3)
    middle_low = deproject(*np.mean(project(ra, dec, 50.0, 20.0), axis=-1, keepdims=True), 50, 20)
    assert separation_deg(middle_low[0], middle_low[1], 50.0, 20.0)[0] < 1e-9
    long_side = position_angle_deg(ra[0], dec[0], ra[1], dec[1])
    assert float(wrap_axis_deg(long_side)) == pytest.approx(120.0, abs=0.5)
