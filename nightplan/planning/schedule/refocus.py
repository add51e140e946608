"""How long a focus holds tonight, from the train, the tube and the night's cooling."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from nightplan.light import focus
from nightplan.planning.optics.train_optics import train_optics

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.planning.tonight.night import Night


@dataclass(frozen=True)
class RefocusRule:
    """The refocus threshold of a train, and the interval that follows from it.

    `step_k` is the change of temperature that uses up the critical focus zone; `every_s` the
    shorter of the user's interval and the time that tonight takes to cool by `step_k`.
    """

    zone_um: float
    shift_um_per_k: float
    step_k: float
    cooling_k_per_h: float
    every_s: float
    reason: str


def refocus_rule(config: Config, night: Night, train: str) -> RefocusRule:
    """The rule for one train tonight; a measured threshold or slope overrides the model.

    The temperature is taken to fall evenly from sunset to sunrise (ours; where the sun does not
    set, over the window).
    """
    optics = train_optics(config, train)
    zone_um = focus.zone_quarter_wave_um(optics.f_ratio)
    focuser = config.focuser
    if focuser.steps_per_k is not None and focuser.step_um is not None:
        native = focus.measured_shift_um_per_k(focuser.steps_per_k, focuser.step_um)
    else:
        native = focus.native_shift_um_per_k(
            config.optics.tube_expansion_um_m_k, config.optics.focal_length_mm
        )
    shift = focus.sensor_shift_um_per_k(native, config.train[train].factor)
    step_k = focuser.refocus_step_k or focus.refocus_step_k(zone_um, shift)
    start = night.sunset.utc_mjd or night.window_start_utc_mjd
    end = night.sunrise.utc_mjd or night.window_end_utc_mjd
    drop_k = abs(config.site.temperature_dusk_c - config.site.temperature_dawn_c)
    hours = 24.0 * (end - start) if start is not None and end is not None and end > start else 12.0
    per_hour = drop_k / hours
    by_clock = focuser.every_min * 60.0
    by_cooling = step_k / per_hour * 3600.0 if per_hour > 0.0 else float("inf")
    if by_cooling < by_clock:
        reason = f"focus drifts out of its zone every {step_k:.1f} K, {by_cooling / 60:.0f} min"
    else:
        reason = f"focus every {focuser.every_min:g} min as configured"
    every = max(min(by_clock, by_cooling), 5 * 60.0)
    return RefocusRule(zone_um, shift, step_k, per_hour, every, reason)
