"""Mounts that do not flip, walls, turning fields; guide scopes and no guider at all."""

from __future__ import annotations

import datetime
import math

import erfa
import numpy as np
import pytest

from nightplan.errors import ConfigError
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.config import Config, parse_config
from nightplan.model.starter import starter_text
from nightplan.planning.choosing.exposure import exposure_of
from nightplan.planning.framing.framing import frame_target
from nightplan.planning.framing.guide_patch import guide_patch
from nightplan.planning.framing.guide_star import guide_outlook
from nightplan.planning.optics.bolted_train import check_train
from nightplan.planning.optics.tracking_limit import longest_tracked_s
from nightplan.planning.optics.train_optics import train_optics
from nightplan.planning.photons.filter_budget import filter_budgets
from nightplan.planning.tonight.field_turn import MOST_TURN, field_turn_arcsec_s
from nightplan.planning.tonight.limits import geometry_margin_deg, usable_margin_deg
from nightplan.planning.tonight.mount_limits import azimuth_margin_deg
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonight.visibility import sky_tracks
from nightplan.planning.tonights_plan.plan import make_plan
from tests.own_config import configured

EVENING = datetime.date(2027, 10, 6)
MOUNT = "track_past_meridian_min = 10\n"


def mounted(lines: str) -> Config:
    return configured((MOUNT, lines + "\n"))


def test_field_turn_is_the_rate_of_pyerfas_parallactic_angle() -> None:
    """Differences of erfa.hd2pa (SOFA) over a second of the earth's turn, at three declinations."""
    latitude = math.radians(38.6)
    hour = np.radians(np.array([-60.0, -20.0, 5.0, 45.0, 100.0]))
    step = math.radians(15.041067 / 3600.0)
    for dec in np.radians([-5.0, 30.0, 70.0]):
        change = erfa.hd2pa(hour + step / 2, dec, latitude) - erfa.hd2pa(
            hour - step / 2, dec, latitude
        )
        change = (change + np.pi) % (2 * np.pi) - np.pi
        azimuth, altitude = erfa.hd2ae(hour, dec, latitude)
        rate = field_turn_arcsec_s(38.6, np.degrees(altitude), np.degrees(azimuth))
        # The parallactic angle grows as the picture turns against it.
        assert np.abs(rate) == pytest.approx(np.abs(np.degrees(change)) * 3600.0, rel=1e-3)


def test_a_turning_field_bounds_the_sub() -> None:
    """6000 × 4000 px: half the diagonal is 3606 px, so two pixels there are 2/3606 rad = 114.4
    arcsec; at 15.041 × cos 38.6° × 1.5 = 17.63 arcsec/s that is 6.5 s."""
    turning = (MOUNT, 'kind = "altazimuth"\ntrail_px = 2.0\n')
    config = configured(turning, ("shortest_s = 10", "shortest_s = 2"))
    assert longest_tracked_s(config, "flattener") == pytest.approx(6.49, abs=0.02)
    for budget in filter_budgets(config, "flattener"):
        assert budget.sub_s <= 6.5
        assert budget.sub_bound in ("guiding", "saturation"), budget.sub_bound
    still = mounted('kind = "altazimuth"\nderotator = true')
    assert longest_tracked_s(still, "flattener") == 600.0


@pytest.mark.parametrize(
    ("name", "walls", "least_s"),
    [("M 33", "[[60, 85]]", 10.0), ("NGC 7293", "[[120, 160]]", 5.0)],
)
def test_subs_of_a_turning_field_are_those_of_each_targets_own_path(
    name: str, walls: str, least_s: float
) -> None:
    """Between walls in the east M 33 hardly turns; low in the south-east the Helix does a little.
    The fastest turn of each comes from differences of erfa.hd2pa (SOFA) along its usable path."""
    config = configured(
        (MOUNT, f'kind = "altazimuth"\ntrail_px = 2.0\nazimuth_ranges_deg = {walls}\n'),
        ("shortest_s = 10", "shortest_s = 2"),
        ("minimum_altitude_deg = 30", "minimum_altitude_deg = 15"),
    )
    catalog, night = load_catalog(), compute_night(config.site, EVENING)
    assert night.window_utc_mjd is not None
    target = catalog.target(catalog.find(name))
    times = np.linspace(*night.window_utc_mjd, 1200)
    tracks = sky_tracks(night, [target.ra_deg], [target.dec_deg], times)
    free = usable_margin_deg(config, night, tracks, "luminance")[0] >= 0.0
    free |= usable_margin_deg(config, night, tracks, "H-alpha")[0] >= 0.0
    latitude, dec = math.radians(config.site.latitude_deg), math.radians(target.dec_deg)
    hour, step = np.radians(tracks.hour_angle_deg[0][free]), math.radians(15.041067 / 3600.0)
    turned = erfa.hd2pa(hour + step / 2, dec, latitude) - erfa.hd2pa(hour - step / 2, dec, latitude)
    fastest = float(np.abs((turned + np.pi) % (2 * np.pi) - np.pi).max())
    corner_px = math.hypot(6000, 4000) / 2.0
    longest_s = 2.0 / corner_px / fastest
    general_s = longest_tracked_s(config, "flattener")
    assert longest_s > 1.15 * general_s
    plan = make_plan(config, night, catalog, [name], solve_s=1.0)
    assert plan.solution is not None
    assert plan.solution.schedule.blocks
    assert plan.posed is not None
    lengths = {task.sub_s for task in plan.posed.problem.tasks if not task.short}
    told = exposure_of(config, night, target, plan.train.train).budget
    for budget in told.filters:
        # The formula and the differences are of one path, sampled apart.
        assert budget.limits.guiding_s == pytest.approx(longest_s, rel=0.02)
        assert budget.sub_s <= budget.limits.guiding_s
    assert lengths <= {budget.sub_s for budget in told.filters}
    assert max(lengths) >= least_s


def test_a_turning_field_leaves_out_the_zenith() -> None:
    config = mounted('kind = "altazimuth"')
    night = compute_night(config.site, EVENING)
    assert night.window_utc_mjd is not None
    times = np.linspace(*night.window_utc_mjd, 200)
    tracks = sky_tracks(night, [0.0, 30.0, 60.0], [38.0, 30.0, 45.0], times)
    factor = np.abs(np.cos(np.radians(tracks.azimuth_deg))) / np.cos(
        np.radians(tracks.altitude_deg)
    )
    free = geometry_margin_deg(config, tracks) >= 0.0
    assert (factor[free] <= MOST_TURN + 1e-9).all()
    plain = geometry_margin_deg(parse_config(starter_text()), tracks) >= 0.0
    assert (plain & ~free).any()
    assert (free == (plain & (factor <= MOST_TURN))).all()


def test_walls_leave_the_azimuths_between_them() -> None:
    azimuth = np.array([[99.0, 100.0, 175.0, 250.0, 260.0, 350.0, 10.0]])
    balcony = azimuth_margin_deg([(100.0, 250.0)], azimuth)
    assert balcony.tolist() == [[-1.0, 0.0, 75.0, 0.0, -10.0, -100.0, -90.0]]
    through_north = azimuth_margin_deg([(300.0, 60.0)], azimuth)
    assert (through_north >= 0.0).tolist() == [[False] * 5 + [True, True]]
    both = azimuth_margin_deg([(100.0, 250.0), (300.0, 60.0)], azimuth)
    assert (both >= 0.0).tolist() == [[False, True, True, True, False, True, True]]


def test_cables_bound_the_hour_angle() -> None:
    config = mounted("hour_angle_range_deg = [-30, 45]")
    night = compute_night(config.site, EVENING)
    assert night.window_utc_mjd is not None
    times = np.linspace(*night.window_utc_mjd, 300)
    tracks = sky_tracks(night, [20.0], [40.0], times)
    free = geometry_margin_deg(config, tracks)[0] >= 0.0
    turned = tracks.hour_angle_deg[0][free]
    assert turned.min() >= -30.0
    assert turned.max() <= 45.0
    assert free.any()


@pytest.mark.parametrize(
    "kind",
    [
        'kind = "no_flip"',
        'kind = "altazimuth"\nderotator = true',
        'kind = "altazimuth"\ntrail_px = 2.0',
    ],
)
def test_mounts_without_a_flip_plan_none(kind: str) -> None:
    """IC 1396 crosses the meridian in the window; image up never turns over."""
    config = configured((MOUNT, kind + "\n"), ("shortest_s = 10", "shortest_s = 2"))
    plan = make_plan(
        config, compute_night(config.site, EVENING), load_catalog(), ["IC 1396"], solve_s=3.0
    )
    assert plan.solution is not None
    schedule = plan.solution.schedule
    assert schedule.blocks
    assert not any(block.after_meridian for block in schedule.blocks)
    assert not any(event.kind == "flip" for event in schedule.events)


def test_a_mount_without_a_flip_keeps_the_guide_star() -> None:
    config = mounted('kind = "no_flip"')
    catalog = load_catalog()
    target = catalog.target(catalog.find("M 51"))
    outlook = guide_outlook(config, frame_target(config, target, "flattener"), target=target)
    assert outlook is not None
    before, after = outlook.before_meridian, outlook.after_meridian
    assert (before.stars, before.image_up_angle_deg) == (after.stars, after.image_up_angle_deg)


SCOPE = """[guider]
kind = "guide_scope"
focal_length_mm = 240
aperture_mm = 50
flexure_arcsec_min = 0.3
fitted = "small"
settle_s = 20
limit_magnitude = 11.0
exposure_s = 2.0
"""


def with_guider(text: str) -> Config:
    starter = starter_text()
    start, end = starter.index("[guider]"), starter.index("[guider.sensor.small]")
    if not text:
        end = starter.index("[focuser]")
    return parse_config(starter[:start] + text + starter[end:])


def test_a_guide_scope_has_its_own_field_and_bends() -> None:
    """1280 px of 3.75 µm at 240 mm are 4.8/240 rad = 68.75′ wide; a pixel of 1.026″ at 0.3″ a
    minute is 3.42 minutes of sub, and 2.565 with the reducer's 1.368″ × ... as its scale grows."""
    config = with_guider(SCOPE)
    patch = guide_patch(config, "flattener")
    assert math.degrees(patch.width) * 60.0 == pytest.approx(68.75, abs=0.01)
    assert patch.offset == 0.0
    for train in config.train:
        scale = train_optics(config, train).image_scale_arcsec_px
        assert longest_tracked_s(config, train) == pytest.approx(60.0 * scale / 0.3)
    assert max(one.sub_s for one in filter_budgets(config, "flattener")) <= 205.0
    assert check_train(config, "flattener").shadow is None
    catalog = load_catalog()
    target = catalog.target(catalog.find("M 51"))
    outlook = guide_outlook(config, frame_target(config, target, "flattener"), target=target)
    assert outlook is not None
    assert outlook.before_meridian.state == "found"


def test_without_a_guider_drift_bounds_the_sub() -> None:
    free = with_guider("")
    assert longest_tracked_s(free, "flattener") == 600.0
    drift = free.model_copy(
        update={"mount": free.mount.model_copy(update={"drift_arcsec_min": 2.0})}
    )
    scale = train_optics(free, "flattener").image_scale_arcsec_px
    assert longest_tracked_s(drift, "flattener") == pytest.approx(30.0 * scale)


@pytest.mark.parametrize(
    ("config", "words"),
    [
        (lambda: mounted('kind = "fork"'), "one of flip, no_flip, altazimuth"),
        (lambda: mounted('kind = "no_flip"\ntrack_past_meridian_min = 5'), "left out"),
        (lambda: mounted("azimuth_ranges_deg = [[100, 400]]"), "from 0 to 360"),
        (lambda: mounted("hour_angle_range_deg = [50, -50]"), "rising"),
        (lambda: mounted("trail_px = 0"), "0.01 to 20"),
        (lambda: with_guider(SCOPE.replace("aperture_mm = 50\n", "")), "guider.aperture_mm"),
        (lambda: configured(("offset_mm = 13.5", "# offset_mm")), "guider.offset_mm"),
    ],
)
def test_faults_name_key_and_range(config, words) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ConfigError) as caught:
        config()
    assert words in str(caught.value)
