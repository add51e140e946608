"""The work between arrival and the first sub, from sunset on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.planning.tonight.night import sun_below_utc_mjd
from nightplan.planning.tonight.night_end import clock_utc_mjd

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.planning.tonight.night import Night

MINUTE_D = 1.0 / 1440.0
FOCUS_AGAIN = "focus again"
FOCUS_STEPS = ("first focus", FOCUS_AGAIN)
FOCUS_OLD_MIN = 30.0
"""Tubes cool fastest in twilight: a first focus older than this is redone in the idle minutes
before the window (common practice, no source)."""


@dataclass(frozen=True)
class SetupStep:
    """One step of setting up; times are UTC as MJD."""

    name: str
    start_utc_mjd: float
    end_utc_mjd: float


@dataclass(frozen=True)
class SetupTimeline:
    """All steps, and how much of the window passes before the last of them is done."""

    steps: tuple[SetupStep, ...]
    into_window_s: float

    @property
    def power_on_utc_mjd(self) -> float | None:
        """When the rig starts to draw from the battery; none without a window."""
        starts = [step.start_utc_mjd for step in self.steps if step.name == "cooling"]
        return starts[0] if starts else None


def setup_timeline(config: Config, night: Night) -> SetupTimeline:
    """Lay out assembly, cooling, polar alignment, focus, solution, angle and guider calibration.

    Cooling starts at sunset, later where the rig stands later, and runs beside the rest. Polar
    alignment starts once stars show; what needs the cold camera waits for it. Where the sun does
    not set, the steps end at the window's start.
    """
    setup = config.preferences.setup
    if night.window_start_utc_mjd is None:
        return SetupTimeline((), 0.0)
    chain = (
        ("polar alignment", setup.polar_alignment_min),
        ("first focus", setup.first_focus_min),
        ("plate solution", setup.plate_solution_min),
        ("camera angle", setup.angle_min),
        ("guider calibration", setup.guider_calibration_min),
    )
    chain_min = sum(minutes for _, minutes in chain)
    stars_show = sun_below_utc_mjd(night, setup.stars_show_sun_deg)
    sunset = night.sunset.utc_mjd
    if stars_show is None:
        stars_show = night.window_start_utc_mjd - chain_min * MINUTE_D
    if sunset is None or sunset > stars_show:
        sunset = stars_show - setup.cooling_min * MINUTE_D
    steps: list[SetupStep] = []
    there = arrival_utc_mjd(config, night)
    if there is None:
        stands = sunset
        start = sunset - setup.assembly_min * MINUTE_D
    else:
        start, stands = there, there + setup.assembly_min * MINUTE_D
    if setup.assembly_min > 0.0:
        steps.append(SetupStep("assembly", start, stands))
    power_on = max(sunset, stands)
    cold = power_on + setup.cooling_min * MINUTE_D
    steps.append(SetupStep("cooling", power_on, cold))
    clock = focused = max(stars_show, stands)
    for name, minutes in chain:
        start = max(clock, cold) if name == "first focus" else clock
        clock = start + minutes * MINUTE_D
        steps.append(SetupStep(name, start, clock))
        if name == "first focus":
            focused = clock
    begin = night.window_start_utc_mjd - config.focuser.run_min * MINUTE_D
    old = night.window_start_utc_mjd - focused > FOCUS_OLD_MIN * MINUTE_D
    if old and clock <= begin:
        steps.append(SetupStep(FOCUS_AGAIN, begin, night.window_start_utc_mjd))
    spill_s = float(np.maximum(0.0, (clock - night.window_start_utc_mjd) * 86400.0))
    window_s = (night.window_end_utc_mjd or 0.0) - night.window_start_utc_mjd
    return SetupTimeline(tuple(steps), min(spill_s, window_s * 86400.0))


def arrival_utc_mjd(config: Config, night: Night) -> float | None:
    """When the imager is at the site: as set, or by when he leaves and the way; else none."""
    setup = config.preferences.setup
    if setup.arrival is not None:
        return clock_utc_mjd(night, setup.arrival)
    if setup.leave is not None:
        return clock_utc_mjd(night, setup.leave) + config.site.drive_min * MINUTE_D
    return None
