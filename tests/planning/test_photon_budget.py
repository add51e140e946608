"""The photon budget of the demo rig against arithmetic by hand and its own definitions."""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from nightplan.errors import InputError
from nightplan.model.config import parse_config
from nightplan.model.starter import starter_text
from nightplan.model.target import Target
from nightplan.planning.choosing.exposure import exposure_of, fitting_train
from nightplan.planning.photons.filter_budget import filter_budgets, site_sky
from nightplan.planning.photons.photon_budget import photon_budget
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonight.visibility import sky_tracks, time_grid

MOONLIT = datetime.date(2027, 10, 12)
MOONLESS = datetime.date(2027, 10, 1)

GALAXY = Target(
    "Test galaxy", 23.46, 30.66, major_arcmin=60.0, minor_arcmin=35.0, kind="galaxy",
    surface_brightness_mag_arcsec2=22.5, surface_brightness_band="V",
    surface_brightness_source="test", radial_velocity_km_s=-180.0,
)  # fmt: skip
NEBULA = Target("NGC 7000", 314.75, 44.37, major_arcmin=120.0, minor_arcmin=100.0,
                kind="emission_nebula", lines=("H-alpha", "O III", "S II"))  # fmt: skip


def _budget(config, evening=MOONLIT, train="flattener"):
    night = compute_night(config.site, evening)
    targets = [GALAXY, NEBULA]
    tracks = sky_tracks(
        night, [t.ra_deg for t in targets], [t.dec_deg for t in targets], time_grid(night, 30.0)
    )
    return photon_budget(config, train, targets, tracks)


def test_h_alpha_rate_of_a_nebula_by_hand(demo) -> None:
    # NGC 7000: 300 R x 1.87e-6 = 5.61e-4 photons/s/cm2/arcsec2; 98.5 cm2; 1.026 arcsec a pixel;
    # filter 0.88, QE 0.70, optics 0.95 x 0.97: 3.31e-2 e/s/px. N II leaks a little more.
    budget = _budget(demo)
    column = budget.filter_names.index("Ha")
    by_hand = 300 * 1.870e-6 * np.pi / 4 * 11.2**2 * (206.265 * 3.9 / 784) ** 2
    by_hand *= 0.88 * 0.70 * 0.95 * 0.97
    ours = budget.light.rate_e_s_px[1, column]
    assert by_hand < ours < 1.12 * by_hand


def test_luminance_sky_by_hand(demo) -> None:
    # V 21.4 at AB - V = +0.12 (half LED, half sodium excess; both about 0.3, natural 0.0):
    # 3000 A at 996 x 550/550 photons/s/cm2/A for AB 0, mean QE 0.82, filter 0.97, optics 0.92.
    budget = next(item for item in filter_budgets(demo, "flattener") if item.filter == "L")
    photons = 996 * 3000 * 10 ** (-0.4 * 21.52)
    by_hand = photons * 98.5 * 1.026**2 * 0.82 * 0.97 * 0.92
    assert budget.reference_sky_e_s == pytest.approx(by_hand, rel=0.08)


def test_rate_and_magnitude_tell_the_same(demo) -> None:
    budget = _budget(demo)
    for column, item in enumerate(budget.filters):
        rate = budget.sky_rate_e_s_px[:, column]
        zero = item.response.ab_zero_rate() * item.px_factor
        assert budget.sky_mag_arcsec2[:, column] == pytest.approx(-2.5 * np.log10(rate / zero))


def test_shapes_and_the_worth_of_the_reference_itself(demo) -> None:
    budget = _budget(demo, MOONLESS)
    shape = (2, 7, budget.utc_mjd.size)
    for name in ("sky_rate_e_s_px", "target_rate_e_s_px", "worth", "snr_one_hour"):
        assert getattr(budget, name).shape == shape
    assert budget.worth.max() < 1.001
    # one hour's S/N squared over the reference's is the worth (interface)
    again = (budget.snr_one_hour / budget.reference_snr_one_hour[:, :, None]) ** 2
    assert again == pytest.approx(budget.worth, rel=1e-9)


def test_a_target_at_the_zenith_without_moon_is_worth_one(demo) -> None:
    # Declination = latitude: through the zenith at its transit.
    night = compute_night(demo.site, MOONLESS)
    times = time_grid(night, 1.0)
    overhead = Target("Overhead", 340.0, demo.site.latitude_deg, major_arcmin=30.0, kind="galaxy")
    tracks = sky_tracks(night, [overhead.ra_deg], [overhead.dec_deg], times)
    budget = photon_budget(demo, "reducer", [overhead], tracks)
    top = int(np.argmax(tracks.altitude_deg[0]))
    assert tracks.altitude_deg[0, top] > 89.5
    assert tracks.moon_altitude_deg[top] < -1.0
    assert budget.worth[0, :, top] == pytest.approx(np.ones(7), abs=2e-3)


def test_moonlight_costs_oxygen_more_than_hydrogen_and_blue_most(demo) -> None:
    budget = _budget(demo)
    moon_high = int(np.argmax(budget.geometry.moon_altitude_deg))
    worth = dict(zip(budget.filter_names, budget.worth[0, :, moon_high], strict=True))
    assert worth["B"] < worth["G"] < worth["R"]
    assert worth["OIII"] < worth["SII"]
    assert worth["OIII"] < worth["Ha"]


def test_below_the_horizon_nothing_comes(demo) -> None:
    night = compute_night(demo.site, MOONLESS)
    south = Target("Far south", 0.0, -80.0, major_arcmin=30.0, kind="galaxy")
    tracks = sky_tracks(night, [0.0], [-80.0], time_grid(night, 60.0))
    budget = photon_budget(demo, "flattener", [south], tracks)
    assert np.all(budget.target_rate_e_s_px == 0.0)
    assert np.all(budget.worth == 0.0)
    assert np.all(np.isfinite(budget.sky_mag_arcsec2))


def test_reducer_per_pixel_and_per_arcsecond(demo) -> None:
    night = compute_night(demo.site, MOONLESS)
    exposure = exposure_of(demo, night, GALAXY, "flattener")
    reducer = next(item for item in exposure.trades if item.optics.name == "reducer")
    glass = 0.96 / 0.97
    assert reducer.rate_per_pixel[0] == pytest.approx(glass / 0.75**2, rel=1e-3)
    assert reducer.rate_per_arcsec2[0] == pytest.approx(glass, rel=1e-3)
    own = next(item for item in exposure.trades if item.optics.name == "flattener")
    # under sky noise equal, where read noise counts the reducer wins
    assert reducer.snr_one_hour[0] == pytest.approx(own.snr_one_hour[0], rel=0.02)
    assert reducer.snr_one_hour[4] > 1.01 * own.snr_one_hour[4]


def test_train_by_size(demo) -> None:
    small = Target("Small", 10.0, 40.0, major_arcmin=20.0, kind="galaxy")
    wide = Target("Wide", 10.0, 40.0, major_arcmin=125.0, minor_arcmin=60.0, kind="emission_nebula")
    assert fitting_train(demo, small) == "flattener"
    assert fitting_train(demo, wide) == "reducer"


def test_unknown_train_and_wrong_time(demo) -> None:
    night = compute_night(demo.site, MOONLESS)
    with pytest.raises(InputError, match="flattener"):
        exposure_of(demo, night, GALAXY, "flatener")
    with pytest.raises(InputError, match="time"):
        exposure_of(demo, night, GALAXY, "flattener", night.noon_utc_mjd + 1.5)


def test_best_moment_is_the_transit_within_limits(demo) -> None:
    night = compute_night(demo.site, MOONLESS)
    exposure = exposure_of(demo, night, GALAXY)
    altitude = float(exposure.tracks.altitude_deg[0, 0])
    # highest altitude on the meridian: 90 - latitude + declination
    assert altitude == pytest.approx(90 - demo.site.latitude_deg + GALAXY.dec_deg, abs=0.2)


def test_bortle_class_says_its_spread() -> None:
    text = starter_text().replace("sky_mag_arcsec2 = 21.4", "bortle_class = 5")
    config = parse_config(text)
    sky = site_sky(config)
    assert sky.dark.zenith_v_mag == pytest.approx(20.0, abs=1e-3)
    exposure = exposure_of(config, compute_night(config.site, MOONLESS), GALAXY)
    assert any("Bortle" in notice for notice in exposure.notices)


def test_a_night_without_a_window_still_answers(demo) -> None:
    site = demo.site.model_copy(update={"latitude_deg": 68.0, "timezone": "UTC"})
    config = demo.model_copy(update={"site": site})
    night = compute_night(site, datetime.date(2027, 6, 20))
    assert night.window_utc_mjd is None
    exposure = exposure_of(config, night, NEBULA)
    assert exposure.budget.v_sky.twilight_nl[0, 0] > 1e5
    assert np.all(exposure.budget.worth < 0.05)


@pytest.mark.parametrize(
    ("latitude", "elevation", "zenith"),
    [(38.6, 240.0, 21.4), (-24.6, 2635.0, 22.0), (0.0, 0.0, 21.9)],
)
def test_no_step_in_the_hour_of_a_full_moonrise(demo, latitude, elevation, zenith) -> None:
    """Minute by minute on nights after the full moon of mid-October 2027."""
    site = demo.site.model_copy(
        update={"latitude_deg": latitude, "elevation_m": elevation, "sky_mag_arcsec2": zenith}
    )
    config = demo.model_copy(update={"site": site})
    places = [
        Target(f"Place {ra}", float(ra), latitude / 2, major_arcmin=9.0, kind="galaxy")
        for ra in range(0, 360, 30)
    ]
    seen = 0
    for day in (16, 17, 18, 19):
        night = compute_night(site, datetime.date(2027, 10, day))
        assert night.moonrise.utc_mjd is not None
        times = night.moonrise.utc_mjd + np.arange(-10, 80) / 1440.0
        tracks = sky_tracks(night, [t.ra_deg for t in places], [t.dec_deg for t in places], times)
        budget = photon_budget(config, "flattener", places, tracks)
        dark = tracks.sun_altitude_deg < -18.0
        high = tracks.altitude_deg.min(axis=1) > 20.0
        if not high.any() or dark.sum() < 60:
            continue
        seen += 1
        total = budget.v_sky.total_v_mag[high][:, dark]
        assert np.abs(np.diff(total, axis=1)).max() < 0.1
        every = budget.sky_mag_arcsec2[high][:, :, dark]
        assert np.abs(np.diff(every, axis=2)).max() < 0.1
        assert np.ptp(total, axis=1).max() > 0.5
    assert seen
