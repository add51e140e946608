"""Image angle and parity against astropy.wcs (wcslib), which is outside this project.

The reference angle is astropy's own: `SkyCoord.position_angle` between two points that
`WCS.all_pix2world` gives on either side of the image centre along FITS axis 2.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.errors import InputError
from nightplan.sky.wcs_angle import orientation_at, terms_from_cards

WIDTH, HEIGHT = 600, 400
SCALE_DEG = 1.026 / 3600.0
ANGLE_TOLERANCE_DEG = 1e-6
PLACE_TOLERANCE_ARCSEC = 1e-5


def cards(ra, dec, form="CD", up=0.0, mirrored=False, projection="TAN", crpix=None, swap=False):
    """A header whose image up at CRVAL is `up`."""
    turn = np.radians(up)
    side = 1.0 if mirrored else -1.0
    # Axis 2 lies along (sin up, cos up) in (east, north); axis 1 is 90 degrees clockwise of it
    # as one sees the sky, or anticlockwise when mirrored.
    cd = SCALE_DEG * np.array(
        [[side * np.cos(turn), np.sin(turn)], [-side * np.sin(turn), np.cos(turn)]]
    )
    order = [1, 0] if swap else [0, 1]
    names = [("RA---", ra), ("DEC--", dec)]
    header = {"CRPIX1": (crpix or ((WIDTH + 1) / 2,))[0], "CRPIX2": (crpix or (0, 200.5))[1]}
    for place, index in enumerate(order, start=1):
        header[f"CTYPE{place}"] = names[index][0] + projection
        header[f"CRVAL{place}"] = names[index][1]
        header[f"CUNIT{place}"] = "deg"
    cd = cd[order]
    if form == "CD":
        for i in (0, 1):
            for j in (0, 1):
                header[f"CD{i + 1}_{j + 1}"] = cd[i, j]
    elif form == "PC":
        header["CDELT1"], header["CDELT2"] = (0.0003, -0.0004)
        for i in (0, 1):
            for j in (0, 1):
                header[f"PC{i + 1}_{j + 1}"] = cd[i, j] / header[f"CDELT{i + 1}"]
    else:
        header["CDELT1"], header["CDELT2"] = side * SCALE_DEG, SCALE_DEG
        # East component of axis 2 is -CDELT2 sin(CROTA2): the other sense than up.
        header["CROTA2"] = -up
        header["CROTA1"] = 0.0
    return header


def astropy_orientation(header, pixel):
    from astropy import units as u
    from astropy.coordinates import SkyCoord
    from astropy.io import fits
    from astropy.wcs import WCS

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        wcs = WCS(fits.Header(header), naxis=2)
    x, y = pixel
    swap = header["CTYPE1"].startswith("DEC")

    def place(px, py):
        world = wcs.all_pix2world([[px, py]], 1)[0]
        lon, lat = world[::-1] if swap else world
        return SkyCoord(lon * u.deg, lat * u.deg)

    centre = place(x, y)
    up = (
        centre.position_angle(place(x, y + 1)).deg,
        (centre.position_angle(place(x, y - 1)).deg + 180.0) % 360.0,
    )
    mean = up[0] + ((up[1] - up[0] + 180.0) % 360.0 - 180.0) / 2.0
    right = centre.position_angle(place(x + 1, y)).deg
    return centre, mean % 360.0, bool((right - mean) % 360.0 < 180.0)


def compare(header, pixel=((WIDTH + 1) / 2, (HEIGHT + 1) / 2)):
    from astropy import units as u
    from astropy.coordinates import SkyCoord

    ours = orientation_at(terms_from_cards(header, "test"), pixel)
    centre, up, mirrored = astropy_orientation(header, pixel)
    place = SkyCoord(ours.ra_deg * u.deg, ours.dec_deg * u.deg)
    assert place.separation(centre).arcsec < PLACE_TOLERANCE_ARCSEC
    assert abs((ours.image_up_angle_deg - up + 180.0) % 360.0 - 180.0) < ANGLE_TOLERANCE_DEG
    assert ours.mirrored is mirrored
    return ours


@pytest.mark.parametrize("form", ["CD", "PC", "CROTA"])
@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("dec", [41.27, -69.1, 0.0, 88.5, -88.5])
@pytest.mark.parametrize("up", [0.0, 37.5, 123.0, 271.25])
def test_every_header_form_both_hemispheres(form, mirrored, dec, up):
    header = cards(10.68, dec, form, up, mirrored)
    ours = compare(header)
    assert ours.mirrored is mirrored
    # CRPIX is the centre here, so the angle is the one the header was made with.
    assert abs((ours.image_up_angle_deg - up + 180.0) % 360.0 - 180.0) < ANGLE_TOLERANCE_DEG
    assert ours.scale_arcsec_px == pytest.approx(1.026, rel=1e-6)


@settings(max_examples=60, deadline=None)
@given(
    ra=st.floats(0.0, 359.999),
    dec=st.floats(-89.0, 89.0),
    up=st.floats(0.0, 359.9),
    mirrored=st.booleans(),
    form=st.sampled_from(["CD", "PC", "CROTA"]),
    crpix=st.tuples(st.floats(-3000.0, 3000.0), st.floats(-3000.0, 3000.0)),
    projection=st.sampled_from(["TAN", "SIN", "ARC", "STG", "ZEA"]),
    swap=st.booleans(),
)
def test_any_reference_pixel(ra, dec, up, mirrored, form, crpix, projection, swap):
    if swap and form == "CROTA":
        form = "CD"
    compare(cards(ra, dec, form, up, mirrored, projection, crpix, swap))


def test_angle_is_at_the_centre_not_at_crval():
    header = cards(0.0, 85.0, up=20.0, crpix=(9000.0, 200.5))
    ours = compare(header)
    turned = (ours.image_up_angle_deg - 20.0 + 180.0) % 360.0 - 180.0
    assert abs(turned) > 10.0


def test_lonpole_and_the_pole_itself():
    header = cards(120.0, 40.0, up=33.0)
    header["LONPOLE"] = 150.0
    compare(header)
    compare(cards(200.0, 90.0, up=33.0, crpix=(100.0, 50.0)))


def test_sip_distortion():
    header = cards(314.75, 44.4, up=211.0, crpix=(150.0, 90.0))
    header.update(
        CTYPE1="RA---TAN-SIP", CTYPE2="DEC--TAN-SIP", A_ORDER=3, B_ORDER=2,
        A_2_0=3e-5, A_1_1=-2e-5, A_0_3=4e-8, B_0_2=-5e-5, B_2_0=1e-5,
    )  # fmt: skip
    compare(header)


def test_equinox_of_date_against_astropy_fk5():
    """Source: astropy's FK5(equinox) to ICRS, which is IAU 1976 precession and the frame bias."""
    from astropy import units as u
    from astropy.coordinates import FK5, SkyCoord
    from astropy.time import Time

    header = cards(275.0, 66.0, up=10.0) | {"RADESYS": "FK5", "EQUINOX": 2027.5}
    ours = orientation_at(terms_from_cards(header, "test"), ((WIDTH + 1) / 2, (HEIGHT + 1) / 2))
    frame = FK5(equinox=Time(2027.5, format="jyear"))
    here = SkyCoord(275.0 * u.deg, 66.0 * u.deg, frame=frame)
    up = here.directional_offset_by(10.0 * u.deg, 1.0 * u.arcmin)
    assert ours.image_up_angle_deg == pytest.approx(here.icrs.position_angle(up.icrs).deg, abs=1e-4)
    assert here.icrs.separation(SkyCoord(ours.ra_deg * u.deg, ours.dec_deg * u.deg)).arcsec < 0.1
    assert abs(ours.image_up_angle_deg - 10.0) > 0.1


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"CD1_1": float("nan")}, "CD1_1"),
        ({"CD1_1": "wide"}, "CD1_1"),
        ({"CRVAL2": 95.0}, "CRVAL2"),
        ({"CRPIX1": None}, "CRPIX1"),
        ({"CTYPE1": "GLON-TAN"}, "CTYPE1"),
        ({"CTYPE1": "RA---TPV"}, "CTYPE1"),
        ({"CD1_1": 0.0, "CD1_2": 0.0}, "CD matrix"),
        ({"PV1_5": 0.01}, "PV1_5"),
        ({"RADESYS": "FK4"}, "RADESYS"),
        ({"A_ORDER": 4000}, "A_ORDER"),
    ],
)
def test_faulty_cards_are_named(change, key):
    header = cards(10.0, 20.0, up=20.0) | change
    with pytest.raises(InputError) as caught:
        terms_from_cards(header, "night.fits")
    assert key in caught.value.key
    assert "night.fits" in str(caught.value)


def test_no_scale_cards_at_all():
    header = {k: v for k, v in cards(10.0, 20.0).items() if not k.startswith("CD")}
    with pytest.raises(InputError, match="CD, PC or CDELT"):
        terms_from_cards(header, "x.fits")
