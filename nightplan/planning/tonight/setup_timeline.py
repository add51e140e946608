"""The work between arrival and the first sub, from sunset on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.planning.tonight.night import sun_below_utc_mjd

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.planning.tonight.night import Night

MINUTE_D = 1.0 / 1440.0


@dataclass(frozen=True)
class SetupStep:
    """One step of setting up; times are UTC as MJD."""

    name: str
    start_utc_mjd: float
    end_utc_mjd: float


@dataclass(frozen=True)
class SetupTimeline:
    """All steps, and how much of them runs into the night's window."""

    steps: tuple[SetupStep, ...]
    into_window_s: float


def setup_timeline(config: Config, night: Night) -> SetupTimeline:
    """Lay out cooling, polar alignment, focus, plate solution, angle and guider calibration.

    Cooling starts at sunset and runs beside the rest. Polar alignment starts once stars show;
    what needs the cold camera waits for it. Where the sun does not set, the steps end at the
    window's start.
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
    cold = sunset + setup.cooling_min * MINUTE_D
    steps = [SetupStep("cooling", sunset, cold)]
    clock = stars_show
    for name, minutes in chain:
        start = max(clock, cold) if name == "first focus" else clock
        clock = start + minutes * MINUTE_D
        steps.append(SetupStep(name, start, clock))
    spill_s = float(np.maximum(0.0, (clock - night.window_start_utc_mjd) * 86400.0))
    window_s = (night.window_end_utc_mjd or 0.0) - night.window_start_utc_mjd
    return SetupTimeline(tuple(steps), min(spill_s, window_s * 86400.0))
