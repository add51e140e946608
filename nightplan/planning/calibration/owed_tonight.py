"""Calibration frames of one night: what is owed after its blocks, and when to shoot the flats.

Flats are shot before the camera is turned or comes off. The last angle of the night gets sky
flats at dawn, brightest filter first; an angle that is left during the night has no sky to use
and wants a light panel before the camera is turned; so does the last one where the rig comes
down before dawn.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from nightplan.journal.records import CalibrationFrame
from nightplan.planning.calibration.frames import OwedFrames, frames_owed, uses_of_blocks
from nightplan.planning.calibration.sky_flats import FlatWindow, flat_checklist
from nightplan.planning.tonight.night import Night
from nightplan.planning.tonight.night_end import clock_utc_mjd
from nightplan.sky.angles import axis_turn_deg
from nightplan.sky.times import datetime_from_mjd, mjd_from_datetime, utc_iso

if TYPE_CHECKING:
    from nightplan.model.config import Config

REASON_WORDS = {
    "none_yet": "none yet",
    "too_few": "some are there",
    "camera_turned": "those at hand were taken at another angle",
    "torn_down": "those at hand are from before the camera came off",
    "too_old": "those at hand are too old",
}


@dataclass(frozen=True)
class CalibrationNight:
    """What is owed, and the order of sky flats at dawn (empty where none are)."""

    owed: tuple[OwedFrames, ...]
    dawn: tuple[FlatWindow, ...]
    rows: tuple[dict[str, Any], ...]
    """Rows as the field sheet takes them, the reason in words with the time to do it; flats of the
    last angle say so, with the span of dawn sky where that gives them."""


def calibration_night(
    config: Config,
    night: Night,
    blocks: Sequence[Mapping[str, Any]],
    have: Sequence[CalibrationFrame] = (),
    torn_down_utc_mjd: float | None = None,
    power_on_utc_mjd: float | None = None,
) -> CalibrationNight:
    """Frames owed after the blocks of a plan document.

    Parameters
    ----------
    blocks : sequence of mappings
        `blocks` of the plan's document, in order of time.
    have, torn_down_utc_mjd
        From the journal, as `frames_owed` takes them.
    power_on_utc_mjd : float or None
        When the rig begins to draw from the battery; none leaves the battery out.
    """
    if not blocks:
        return CalibrationNight((), (), ())
    owed = frames_owed(config, uses_of_blocks(blocks), have, night.evening, torn_down_utc_mjd)
    last = float(blocks[-1]["position_angle_deg"]), str(blocks[-1]["train"])
    at_last = [one for one in owed if one.kind == "flat" and _same(config, one, *last)]
    dawn: list[FlatWindow] = []
    down = _down_utc_mjd(config, night, power_on_utc_mjd)
    if at_last:
        names = [one.filter for one in at_last if one.filter is not None]
        dawn = flat_checklist(config, night, "dawn", last[1], names)
        if any(one.end_utc_mjd is not None and one.end_utc_mjd > down for one in dawn):
            dawn = []
    rows = [
        {
            **one.row(),
            "reason": _reason(night, one, blocks, at_last, dawn),
            **(_dawn_span(one, dawn) if one in at_last else {}),
            "at_last_angle": one in at_last,
        }
        for one in owed
    ]
    return CalibrationNight(tuple(owed), tuple(dawn), tuple(rows))


def _dawn_span(one: OwedFrames, dawn: Sequence[FlatWindow]) -> dict[str, str]:
    """When the dawn sky gives these flats; empty where it does not."""
    mine = next((step for step in dawn if step.filter == one.filter), None)
    if mine is None or mine.start_utc_mjd is None or mine.end_utc_mjd is None:
        return {}
    return {"start_utc": utc_iso(mine.start_utc_mjd), "end_utc": utc_iso(mine.end_utc_mjd)}


def _down_utc_mjd(config: Config, night: Night, power_on_utc_mjd: float | None) -> float:
    """When the rig is down: at the hour of tear-down, or when the battery is at its reserve."""
    ends = [math.inf]
    clock, power = config.preferences.tear_down, config.power
    if clock is not None:
        ends.append(clock_utc_mjd(night, clock))
    if power is not None and power_on_utc_mjd is not None:
        hours = power.battery_wh * (1.0 - power.reserve_share) / power.whole_draw_w
        ends.append(power_on_utc_mjd + hours / 24.0)
    return min(ends)


def _same(config: Config, one: OwedFrames, angle_deg: float, train: str) -> bool:
    if one.position_angle_deg is None or one.train != train:
        return False
    turn = abs(float(axis_turn_deg(one.position_angle_deg, angle_deg)))
    return turn <= config.calibration.flat_angle_tolerance_deg


def _reason(
    night: Night,
    one: OwedFrames,
    blocks: Sequence[Mapping[str, Any]],
    at_last: Sequence[OwedFrames],
    dawn: Sequence[FlatWindow],
) -> str:
    why = REASON_WORDS[one.reason]
    if one.kind != "flat":
        return why
    if one not in at_last:
        at, then = _left(one, blocks)
        when = "" if at is None else f" at {_clock(night, at)}"
        done = "is turned" if then in (None, one.train) else f"comes off for the {then}"
        return f"{why}; light panel before the camera {done}{when}"
    mine = next((step for step in dawn if step.filter == one.filter), None)
    if mine is None:
        return f"{why}; light panel before the rig comes down or its battery is spent"
    if mine.start_utc_mjd is None or mine.count < one.count:
        return f"{why}; the dawn sky gives {mine.count} of them, a light panel the rest"
    order = ", ".join(step.filter for step in dawn if step.start_utc_mjd is not None)
    begin = min(step.start_utc_mjd for step in dawn if step.start_utc_mjd is not None)
    return f"{why}; dawn sky from {_clock(night, begin)}, in the order {order}"


def _left(one: OwedFrames, blocks: Sequence[Mapping[str, Any]]) -> tuple[float | None, str | None]:
    """When the last block in the train and at the angle of these flats ends, and the train of the
    block behind it."""
    own = [
        number
        for number, block in enumerate(blocks)
        if (block["train"], float(block["position_angle_deg"]))
        == (one.train, one.position_angle_deg)
    ]
    if not own:
        return None, None
    ended = datetime.datetime.fromisoformat(str(blocks[own[-1]]["end_utc"]))
    behind = blocks[own[-1] + 1 : own[-1] + 2]
    return mjd_from_datetime(ended), next((str(block["train"]) for block in behind), None)


def _clock(night: Night, utc_mjd: float) -> str:
    return datetime_from_mjd(utc_mjd).astimezone(night.zone).strftime("%H:%M")
