"""One target: accepted ranges, unknown against zero, and the way to and from astropy."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import Angle, SkyCoord
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.errors import InputError
from nightplan.model.target import Target


def made(**fields: Any) -> Target:
    return Target(**({"name": "My lane", "ra_deg": 330.0, "dec_deg": 60.0} | fields))


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("ra_deg", 360.0), ("ra_deg", -0.1), ("ra_deg", float("nan")), ("dec_deg", 90.1),
        ("dec_deg", "north"), ("major_arcmin", 0.0), ("angle_deg", 180.0), ("angle_deg", -1.0),
        ("kind", "nebula"), ("lines", ("Hb",)), ("grade", "D"), ("name", "  "),
        ("surface_brightness_band", "R"), ("outline", ((0.0, 0.0), (1.0, 1.0))),
        ("radial_velocity_km_s", 3e5), ("magnitude_v", float("inf")),
    ],
)  # fmt: skip
def test_a_value_outside_its_range_is_named(key: str, value: object) -> None:
    with pytest.raises(InputError) as caught:
        made(**{key: value})
    assert caught.value.key == key
    assert "\n" not in str(caught.value)
    assert key in str(caught.value)


def test_a_minor_axis_needs_a_major_one_that_is_no_shorter() -> None:
    for fields in ({"minor_arcmin": 3.0}, {"major_arcmin": 2.0, "minor_arcmin": 3.0}):
        with pytest.raises(InputError, match="minor_arcmin"):
            made(**fields)


def test_no_angle_is_not_north() -> None:
    assert made(angle_deg=None).angle_deg is None
    assert made(angle_deg=0.0).angle_deg == 0.0
    assert made(angle_deg=0.0) != made(angle_deg=None)


def test_one_diameter_is_a_circle() -> None:
    assert made(major_arcmin=7.0).axes_arcmin == (7.0, 7.0)
    assert made().axes_arcmin is None


@pytest.mark.parametrize(
    ("v", "b", "used"),
    [(8.0, 8.9, 8.0), (11.11, 7.94, 7.94), (8.54, 8.39, 8.54), (None, 9.0, 9.0), (9.0, None, 9.0)],
)
def test_magnitude_follows_the_rule_for_faulty_v(
    v: float | None, b: float | None, used: float
) -> None:
    assert made(magnitude_v=v, magnitude_b=b).magnitude == used


@settings(max_examples=50, deadline=None)
@given(ra=st.floats(0.0, 359.999999), dec=st.floats(-89.9, 89.9))
def test_astropy_there_and_back(ra: float, dec: float) -> None:
    galactic = made(ra_deg=ra, dec_deg=dec).coord.galactic
    back = Target.from_skycoord("again", galactic)
    assert back.coord.separation(made(ra_deg=ra, dec_deg=dec).coord) < 1e-5 * u.arcsec
    assert back.position_source == "user"


def test_astroplan_there_and_back() -> None:
    fixed = made(major_arcmin=12.0).fixed_target
    assert fixed.name == "My lane"
    back = Target.from_fixed_target(fixed, major_arcmin=12.0)
    assert (back.ra_deg, back.dec_deg) == pytest.approx((330.0, 60.0), abs=1e-9)
    assert back.major_arcmin == 12.0


def test_several_positions_are_refused() -> None:
    with pytest.raises(InputError, match="one position"):
        Target.from_skycoord("two", SkyCoord([1, 2] * u.deg, [3, 4] * u.deg))


@settings(max_examples=60, deadline=None)
@given(
    sexagesimal=st.tuples(st.integers(0, 23), st.integers(0, 59), st.floats(0.0, 59.99)),
    dec=st.tuples(st.sampled_from("+-"), st.integers(0, 89), st.integers(0, 59)),
    style=st.sampled_from(["{}h{}m{:.2f}s", "{} {} {:.2f}", "{}:{}:{:.2f}", "{}h {}m {:.2f}s"]),
)
def test_sexagesimal_text_reads_as_astropy_reads_it(
    sexagesimal: tuple[int, int, float], dec: tuple[str, int, int], style: str
) -> None:
    """Source of the expected values: astropy.coordinates.Angle."""
    ra_text = style.format(*sexagesimal)
    dec_text = "{}{}d{}m".format(*dec)
    target = Target.from_text("typed", ra_text, dec_text)
    assert target.ra_deg == pytest.approx(Angle(ra_text, unit=u.hourangle).deg, abs=1e-9)
    assert target.dec_deg == pytest.approx(Angle(dec_text).deg, abs=1e-9)


def test_degrees_and_odd_signs_are_read() -> None:
    target = Target.from_text("typed", "314.82", "−24° 23′ 12″")
    assert (target.ra_deg, target.dec_deg) == pytest.approx((314.82, -24.38666667))
    assert Target.from_text("typed", "314d49m12s", "-0 30").dec_deg == pytest.approx(-0.5)


@pytest.mark.parametrize(
    ("ra", "dec", "key"),
    [("25h", "10", "ra_deg"), ("10h61m", "10", "ra"), ("north", "10", "ra"), ("1 2 3", "5h", "dec"),
     ("10.5 30", "10", "ra"), ("10h30m", "91", "dec_deg"), ("-1h", "10", "ra_deg")],
)  # fmt: skip
def test_bad_text_is_refused(ra: str, dec: str, key: str) -> None:
    with pytest.raises(InputError) as caught:
        Target.from_text("typed", ra, dec)
    assert caught.value.key == key


@pytest.mark.parametrize("velocity", [-300.0, 0.0, 1250.0, 52025.0])
def test_redshift_is_the_relativistic_doppler_shift(velocity: float) -> None:
    """Source of the expected values: astropy.units.doppler_relativistic at H-alpha."""
    rest = 656.28 * u.nm
    seen = (velocity * u.km / u.s).to(u.nm, equivalencies=u.doppler_relativistic(rest))
    z = made(radial_velocity_km_s=velocity).redshift
    assert z is not None
    np.testing.assert_allclose(z, float(seen / rest) - 1.0, atol=1e-12)
