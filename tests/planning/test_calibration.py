"""Calibration frames owed, and the dusk and dawn order of sky flats.

Counts are worked by hand from the configuration's numbers. Of the order of filters and of the
windows' place about sunset the source is common practice; the rate of change of the twilight sky
is checked against Tyson & Gal 1993 (AJ 105, 1206), who find that the twilight sky fades by a
factor 10^(k t), k = 0.094 a minute at the zenith near Cerro Tololo (latitude -30°; from memory),
slower as 1 / cos(latitude) and the season go.
"""

from __future__ import annotations

import datetime
import itertools

import numpy as np
import pytest

from nightplan.journal.records import CalibrationFrame
from nightplan.planning.calibration.frames import (
    LightUse,
    angles_with_flats,
    frames_owed,
    uses_of_blocks,
)
from nightplan.planning.calibration.owed_tonight import calibration_night
from nightplan.planning.calibration.sky_flats import (
    flat_checklist,
    flat_exposures_s,
    flat_level_e,
    twilight_times,
)
from nightplan.planning.photons.filter_budget import filter_budgets
from nightplan.planning.tonight.night import compute_night

EVENING = datetime.date(2027, 10, 6)
USES = [
    LightUse("L", "reducer", 35.0, "low", 120.0),
    LightUse("Ha", "reducer", 35.0, "high", 300.0),
    LightUse("Ha", "reducer", 35.4, "high", 300.0),
]


def frames(kind, count, **changes):
    values = {
        "evening": EVENING, "start_utc_mjd": 61684.7, "exposure_s": 2.0, "filter": "L",
        "train": "reducer", "position_angle_deg": 35.2, "gain": "low",
        "sensor_temperature_c": -10.0,
    }  # fmt: skip
    values |= changes
    if kind in ("dark", "bias"):
        values |= {"filter": None, "train": None, "position_angle_deg": None}
    return [
        CalibrationFrame(f"{kind}-{i}-{sorted(changes.items())}", kind, **values)
        for i in range(count)
    ]


def table(owed):
    return {
        (one.kind, one.filter, one.gain, one.sub_s if one.kind == "dark" else None): one
        for one in owed
    }


def test_nothing_there_yet(demo):
    """2 filters at one angle (0.4° apart counts as one): 25 flats and flat-darks of each; darks
    of two lengths, 30 × (120 + 2) s = 61 min and 30 × (300 + 2) s = 151 min."""
    owed = table(frames_owed(demo, USES, [], EVENING))
    assert len(owed) == 6
    assert owed["flat", "L", "low", None].count == 25
    assert owed["flat_dark", "Ha", "high", None].count == 25
    assert owed["dark", None, "low", 120.0].minutes == pytest.approx(61.0)
    assert owed["dark", None, "high", 300.0].minutes == pytest.approx(151.0)
    assert {one.reason for one in owed.values()} == {"none_yet"}
    assert owed["dark", None, "low", 120.0].sensor_temperature_c == -10.0


def test_what_is_there_is_not_owed(demo):
    have = [
        *frames("flat", 25), *frames("flat_dark", 25),
        *frames("flat", 10, filter="Ha", gain="high"),
        *frames("dark", 30, exposure_s=120.0),
        *frames("dark", 12, exposure_s=300.0, gain="high"),
    ]  # fmt: skip
    owed = table(frames_owed(demo, USES, have, EVENING))
    assert ("flat", "L", "low", None) not in owed
    assert ("flat_dark", "L", "low", None) not in owed
    assert ("dark", None, "low", 120.0) not in owed
    flat = owed["flat", "Ha", "high", None]
    assert (flat.count, flat.have, flat.reason) == (15, 10, "too_few")
    assert owed["dark", None, "high", 300.0].count == 18


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"position_angle_deg": 37.0}, "camera_turned"),
        ({"position_angle_deg": 125.0}, "camera_turned"),
        ({"position_angle_deg": None}, "camera_turned"),
        ({"start_utc_mjd": 61600.0}, "torn_down"),
        ({"train": "flattener"}, "none_yet"),
        ({"filter": "R"}, "none_yet"),
    ],
)
def test_what_makes_flats_stale(demo, changes, reason):
    owed = table(frames_owed(demo, USES[:1], frames("flat", 25, **changes), EVENING, 61650.0))
    assert owed["flat", "L", "low", None].count == 25
    assert owed["flat", "L", "low", None].reason == reason


def test_a_rectangle_turned_by_180_keeps_its_flats(demo):
    near = frames("flat", 25, position_angle_deg=179.6)
    use = [LightUse("L", "reducer", 0.2, "low", 120.0)]
    assert ("flat", "L", "low", None) not in table(frames_owed(demo, use, near, EVENING))


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"evening": EVENING - datetime.timedelta(days=181)}, "too_old"),
        ({"sensor_temperature_c": -9.0}, "none_yet"),
        ({"sensor_temperature_c": None}, "none_yet"),
        ({"gain": "high"}, "none_yet"),
        ({"exposure_s": 60.0}, "none_yet"),
    ],
)
def test_what_makes_darks_unfit(demo, changes, reason):
    have = frames("dark", 30, **({"exposure_s": 120.0} | changes))
    owed = table(frames_owed(demo, USES[:1], have, EVENING))
    assert owed["dark", None, "low", 120.0].reason == reason


def test_stable_bias_stands_in_for_flat_darks(demo):
    wish = demo.calibration.model_copy(update={"bias_stable": True})
    config = demo.model_copy(update={"calibration": wish})
    kinds = [one.kind for one in frames_owed(config, USES, [], EVENING)]
    assert kinds.count("bias") == 2  # both gains
    assert "flat_dark" not in kinds
    some = frames("bias", 50, exposure_s=0.0)
    assert [one.gain for one in frames_owed(config, USES, some, EVENING) if one.kind == "bias"] == [
        "high"
    ]


def test_flat_darks_must_have_the_flats_length(demo):
    flats = frames("flat", 25, exposure_s=3.0)
    wrong = frames("flat_dark", 25, exposure_s=8.0)
    right = frames("flat_dark", 25, exposure_s=3.1)
    owed = table(frames_owed(demo, USES[:1], flats + wrong, EVENING))
    assert owed["flat_dark", "L", "low", None].sub_s == 3.0
    assert ("flat_dark", "L", "low", None) not in table(
        frames_owed(demo, USES[:1], flats + right, EVENING)
    )


def test_angles_whose_flats_hold(demo):
    have = frames("flat", 25) + frames("flat", 25, position_angle_deg=90.0)
    have += frames("flat", 25, position_angle_deg=90.0, filter="Ha")
    assert angles_with_flats(demo, "reducer", ["L"], have) == (35.2, 90.0)
    assert angles_with_flats(demo, "reducer", ["L", "Ha"], have) == (90.0,)
    assert angles_with_flats(demo, "reducer", ["L"], have, 61700.0) == ()
    assert angles_with_flats(demo, "flattener", ["L"], have) == ()


@pytest.fixture(scope="module")
def night(demo):
    return compute_night(demo.site, EVENING)


@pytest.mark.parametrize("edge", ["dusk", "dawn"])
def test_order_of_filters(demo, night, edge):
    """Common practice: at dusk narrow filters first and L last, at dawn the reverse."""
    steps = flat_checklist(demo, night, edge, "reducer", list(demo.filter))
    names = [step.filter for step in steps]
    narrow = {"Ha", "OIII", "SII"}
    wanted = names if edge == "dusk" else names[::-1]
    assert set(wanted[:3]) == narrow
    assert wanted[-1] == "L"
    starts = [step.start_utc_mjd for step in steps]
    assert starts == sorted(starts)
    assert all(step.count == step.wanted == 25 for step in steps)
    for step, after in itertools.pairwise(steps):
        assert after.start_utc_mjd >= step.end_utc_mjd
    for step in steps:
        assert step.open_utc_mjd <= step.start_utc_mjd <= step.close_utc_mjd
        assert 1.0 <= min(step.first_s, step.last_s) <= max(step.first_s, step.last_s) <= 15.0
        assert (step.last_s > step.first_s) == (edge == "dusk")
    event = night.sunset if edge == "dusk" else night.sunrise
    away_min = [abs(start - event.utc_mjd) * 1440.0 for start in starts]
    assert max(away_min) < 60.0


def test_how_fast_the_sky_fades(demo, night):
    """Tyson & Gal's k = 0.094 a minute, scaled by the sun's own rate of sinking: at Tololo near
    an equinox 0.25°/min × cos 30°, here × cos 38.6°. Their range of sun is about -3 to -10°."""
    times = twilight_times(night, "dusk")
    (budget,) = [one for one in filter_budgets(demo, "reducer") if one.filter == "R"]
    exposure = flat_exposures_s(demo, night, [budget], times)[0]
    minutes = (times - night.sunset.utc_mjd) * 1440.0
    part = (minutes > 15.0) & (minutes < 40.0)
    slope = np.polyfit(minutes[part], np.log10(exposure[part]), 1)[0]
    scaled = 0.094 * np.cos(np.radians(38.6)) / np.cos(np.radians(30.0))
    assert slope == pytest.approx(scaled, rel=0.3)


def test_flat_level(demo):
    """Low gain: 0.4 × min(65536 × 0.763, 50000) e-; high: 0.4 × min(65536 × 0.275, 18000) e-."""
    assert flat_level_e(demo, "low") == pytest.approx(0.4 * 50000.0, rel=1e-3)
    assert flat_level_e(demo, "high") == pytest.approx(0.4 * 18000.0, rel=2e-3)


def test_too_little_time_is_told(demo, night):
    steps = flat_checklist(demo, night, "dusk", "reducer", ["L"], count=500)
    assert 0 < steps[0].count < 500
    polar = demo.site.model_copy(update={"latitude_deg": 75.0, "timezone": "UTC"})
    summer = compute_night(polar, datetime.date(2027, 6, 20))
    assert summer.sunset.utc_mjd is None
    (none,) = flat_checklist(demo, summer, "dusk", "reducer", ["L"])
    assert (none.count, none.start_utc_mjd) == (0, None)


def block(filter_name, angle, end, **changes):
    return {
        "target": "M 31", "filter": filter_name, "train": "reducer", "gain": "low", "sub_s": 120.0,
        "position_angle_deg": angle, "end_utc": end,
    } | changes  # fmt: skip


def test_rows_of_a_night(demo, night):
    blocks = [
        block("R", 100.0, "2027-10-06T23:00:00Z"),
        block("L", 35.0, "2027-10-07T02:00:00Z"),
        block("Ha", 35.0, "2027-10-07T05:00:00Z", gain="high"),
    ]
    assert len(uses_of_blocks(blocks)) == 3
    found = calibration_night(demo, night, blocks)
    reasons = {row["filter"]: row["reason"] for row in found.rows if row["kind"] == "flat"}
    assert "before the camera is turned at 00:00" in reasons["R"]
    assert "in the order L, Ha" in reasons["L"]
    assert [step.filter for step in found.dawn] == ["L", "Ha"]
    for row in found.rows:
        assert row["count"] > 0
        assert "sub_s" in row or row["kind"] != "dark"
    early = demo.preferences.model_copy(update={"tear_down": "04:30"})
    down = calibration_night(demo.model_copy(update={"preferences": early}), night, blocks)
    reasons = {row["filter"]: row["reason"] for row in down.rows if row["kind"] == "flat"}
    assert "before the rig comes down" in reasons["L"]
    # 800 Wh above the reserve at 45 W last 17.8 h; from noon that is 05:47 UTC, before dawn.
    spent = calibration_night(demo, night, blocks, power_on_utc_mjd=night.noon_utc_mjd)
    assert spent.dawn == ()
    assert calibration_night(demo, night, []).rows == ()
