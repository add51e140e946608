"""From a night's plan to the picture of the night."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from nightplan.planning.tonight.limits import geometry_margin_deg
from nightplan.planning.tonight.visibility import sky_tracks
from nightplan.report.plots.night_picture import (
    NightPicture,
    PictureTarget,
    blocks_and_events,
    roles_of,
)

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.tonight.night import Night
    from nightplan.planning.tonights_plan.plan import NightPlan

STEP_MIN = 3.0
BESIDE_H = 0.75
SHORTEST_H = 4.0


def picture_of_plan(plan: NightPlan, document: Mapping[str, Any]) -> NightPicture:
    """The picture of a plan: its targets' ways, the moon, and the blocks of its document."""
    return picture_of_night(plan.config, plan.night, plan.targets, document)


def picture_of_night(
    config: Config,
    night: Night,
    targets: tuple[Target, ...],
    document: Mapping[str, Any] | None = None,
) -> NightPicture:
    """The picture of a night with some targets; with a plan document, its blocks too."""
    start, end = picture_span(night)
    utc_mjd = np.linspace(start, end, max(2, round((end - start) * 1440.0 / STEP_MIN) + 1))
    ra = np.array([target.ra_deg for target in targets], dtype=float)
    dec = np.array([target.dec_deg for target in targets], dtype=float)
    tracks = sky_tracks(night, ra, dec, utc_mjd)
    skyline = np.asarray(config.horizon.altitude_deg(tracks.azimuth_deg), dtype=float)
    usable = geometry_margin_deg(config, tracks) >= 0.0
    blocks, events = blocks_and_events(document or {}, roles_of(config))
    return NightPicture(
        site=night.site.name,
        evening=night.evening,
        zone=night.zone,
        utc_mjd=utc_mjd,
        sun_altitude_deg=tracks.sun_altitude_deg,
        moon_altitude_deg=tracks.moon_altitude_deg,
        moon_illuminated_fraction=night.moon_illuminated_fraction,
        targets=tuple(
            PictureTarget(
                name=target.name,
                altitude_deg=tracks.altitude_deg[row],
                skyline_deg=skyline[row],
                usable=usable[row],
            )
            for row, target in enumerate(targets)
        ),
        blocks=blocks,
        events=events,
        window_start_utc_mjd=night.window_start_utc_mjd,
        window_end_utc_mjd=night.window_end_utc_mjd,
        minimum_altitude_deg=config.preferences.minimum_altitude_deg,
        notices=night.notices,
    )


def picture_span(night: Night) -> tuple[float, float]:
    """From a little before sunset to a little after sunrise; the whole day without them."""
    sunset, sunrise = night.sunset.utc_mjd, night.sunrise.utc_mjd
    if sunset is None or sunrise is None or sunrise - sunset < SHORTEST_H / 24.0:
        return night.noon_utc_mjd, night.next_noon_utc_mjd
    beside = BESIDE_H / 24.0
    return max(night.noon_utc_mjd, sunset - beside), min(night.next_noon_utc_mjd, sunrise + beside)
