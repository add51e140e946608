"""What the calls accept: names, SkyCoords, FixedTargets, Observers, Times, Quantities."""

from __future__ import annotations

import datetime
import warnings

import pytest
from astroplan import FixedTarget, Observer
from astropy import units as u
from astropy.coordinates import EarthLocation, Galactic, SkyCoord
from astropy.time import Time

import nightplan
from nightplan.errors import InputError, NameWarning, TargetError
from nightplan.library.inputs import evening_of, place_name, value_in
from nightplan.model.config import Config


def test_fixed_target_goes_round(demo: Config) -> None:
    there = nightplan.target("andromeda galaxy")
    fixed = there.fixed_target
    assert isinstance(fixed, FixedTarget)
    assert fixed.name == "M 31"
    back = nightplan.target(fixed, demo)
    assert back == there


def test_a_nickname_says_what_it_is_taken_for_and_what_else_it_fits(demo: Config) -> None:
    # Common practice, no source: the owl is M 97, the helix NGC 7293.
    with pytest.warns(NameWarning, match=r"owl is taken as M 97 .*, not as NGC 457") as said:
        assert nightplan.target("owl").name == "M 97"
    assert said[0].filename == __file__
    with pytest.warns(NameWarning, match=r"helix is taken as NGC 7293 .*, not as NGC 2685"):
        assert nightplan.frame(demo, "helix").document.target.name == "NGC 7293"
    with warnings.catch_warnings():
        warnings.simplefilter("error", NameWarning)
        assert nightplan.target("andromeda").name == "M 31"


def test_fixed_target_elsewhere_is_a_place_of_its_own() -> None:
    wall = SkyCoord("20h58m48s", "+43d40m00s")  # 0.9 degrees from the centre of NGC 7000
    mine = nightplan.target(FixedTarget(coord=wall, name="NGC 7000"))
    assert mine.coord.separation(wall) < 1e-6 * u.arcsec
    assert mine.major_arcmin is None


def test_sky_coord_of_any_frame_keeps_its_place() -> None:
    place = SkyCoord("05h35m17.3s", "-05d23m28s").transform_to(Galactic())
    mine = nightplan.target(place)
    assert mine.coord.separation(place) < 1e-5 * u.arcsec
    assert mine.name == "J053517-052328"


@pytest.mark.parametrize(
    ("ra", "dec", "name"),
    [
        # The IAU's rule for designations cuts and does not round; 3C 273 and a southern quasar
        # carry these names in the literature (from memory).
        ("12h29m06.6997s", "+02d03m08.598s", "J122906+020308"),
        ("04h38m17.3s", "-10d27m31s", "J043817-102731"),
        ("00h00m59.99s", "-00d00m01s", "J000059-000001"),
        ("23h59m59.99s", "+89d59m59.9s", "J235959+895959"),
    ],
)
def test_places_are_named_as_the_iau_does(ra: str, dec: str, name: str) -> None:
    assert place_name(SkyCoord(ra, dec)) == name


def test_own_target_with_quantities() -> None:
    mine = nightplan.make_target(
        "Dust lane",
        SkyCoord(330 * u.deg, 60 * u.deg),
        major=1.5 * u.deg,
        minor="40 arcmin",
        angle=0.5 * u.rad,
        surface_brightness=22.0 * u.mag / u.arcsec**2,
        kind="dark_nebula",
    )
    assert mine.major_arcmin == pytest.approx(90.0)
    assert mine.minor_arcmin == pytest.approx(40.0)
    assert mine.angle_deg == pytest.approx(28.6478897565)
    assert mine.surface_brightness_mag_arcsec2 == 22.0


@pytest.mark.parametrize("value", [30, 30.0, 3 * u.s, "thirty", [1, 2] * u.deg])
def test_a_number_without_the_right_unit_is_refused(value: object) -> None:
    with pytest.raises(InputError, match=r"angle = .*accepted is one astropy Quantity in deg"):
        value_in("angle", value, u.deg)  # type: ignore[arg-type]


def test_evening_of_a_time_is_the_night_that_holds_it(demo: Config) -> None:
    # Lisbon stands at UTC+1 in summer: local noon is 11:00 UTC.
    for moment, evening in (
        ("2027-10-06T10:59:00", datetime.date(2027, 10, 5)),
        ("2027-10-06T11:01:00", datetime.date(2027, 10, 6)),
        ("2027-10-07T02:00:00", datetime.date(2027, 10, 6)),
    ):
        assert evening_of(demo.site, Time(moment)) == evening
    tdb = Time("2027-10-06T11:00:30", scale="tdb")  # 69 s ahead of UTC, so before noon
    assert evening_of(demo.site, tdb) == datetime.date(2027, 10, 5)


@pytest.mark.parametrize("wrong", ["tonight", "2300-01-01", datetime.datetime(2027, 1, 1, 20)])
def test_other_evenings_are_refused(demo: Config, wrong: object) -> None:
    with pytest.raises(InputError, match="evening"):
        nightplan.night(demo, wrong)  # type: ignore[arg-type]


def test_places_are_config_site_or_observer(demo: Config) -> None:
    by_observer = nightplan.night(demo.site.observer, "2027-10-06")
    by_config = nightplan.night(demo, "2027-10-06")
    assert abs(by_observer.sunset - by_config.sunset) < 1 * u.ms
    assert by_observer.evening == by_config.evening
    with pytest.raises(InputError, match="where"):
        nightplan.night("Hollow Ridge")  # type: ignore[arg-type]


def test_unknown_target_brings_suggestions() -> None:
    with pytest.raises(TargetError, match="M 31"):
        nightplan.target("M 31x")


def test_rig_at_another_site(demo: Config) -> None:
    observer = Observer(
        location=EarthLocation.from_geodetic(-70.4 * u.deg, -24.6 * u.deg, 2600 * u.m),
        name="Invented south",
        timezone="America/Santiago",
    )
    there = nightplan.config_at(demo, observer, sky=21.9 * u.mag / u.arcsec**2)
    assert there.site.sky_mag_arcsec2 == 21.9
    assert there.optics == demo.optics
    assert float(there.horizon.altitude_deg(275.0)) == 0.0  # no hill of the other site
    # Declinations -25.3 and +69.1 culminate at 89.3 degrees and at -3.7: 90 - |latitude - dec|.
    table = nightplan.pick(there, "2027-10-06", only=["NGC 253", "M 81"])
    assert list(table["name"]) == ["NGC 253"]
    assert table["altitude"][0] > 86.9 * u.deg  # the mount of the demo stops at 87


def test_starter_file_is_never_overwritten(tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "own.toml"
    nightplan.write_starter(path)
    assert nightplan.load_config(path) == nightplan.demo_config()
    with pytest.raises(nightplan.NightplanError):
        nightplan.write_starter(path)


def test_the_library_refuses_what_the_command_line_refuses(demo: Config) -> None:
    with pytest.raises(InputError, match=r"rotator.*-1440 to 1440"):
        nightplan.angle(demo, position_angle=10 * u.deg, rotator=5000 * u.deg)
    with pytest.raises(InputError, match=r"second.*-1440 to 1440"):
        nightplan.angle(
            demo,
            position_angle=10 * u.deg,
            rotator=5 * u.deg,
            second=(20 * u.deg, 5000 * u.deg),
        )
    with pytest.raises(InputError, match=r"nights.*1 to 400"):
        nightplan.campaign(demo, "M 33", nights=401)
    with pytest.raises(InputError, match=r"group.*none beside a centre"):
        nightplan.frame(demo, "M 33", centre="23.9,30.4", group=1)
    with pytest.raises(InputError, match=r"centre.*RA,DEC"):
        nightplan.frame(demo, "M 33", centre="north of it")
