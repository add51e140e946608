"""What looks odd in a configuration that is valid: codes with the figures behind them.

A rule here never rejects; the configuration's own ranges do that. Sentences belong to the report.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from nightplan.model.config import Config
from nightplan.planning.optics.bolted_train import check_train
from nightplan.planning.optics.train_optics import all_train_optics

DARKEST_MAG = 22.1
"""Zenith of a site without any lamp, V mag/arcsec² (common practice: 22.0 within 0.1)."""
ZONE_HOURS = 3.5
"""Zones wander from the sun's time by up to about three hours (IANA database)."""
COARSE, FINE = 1.0, 5.0
"""Pixels per full width at half maximum outside of which a train is called odd."""
ADC_SHARE = (0.5, 1.1)
"""Full well over the converter's range: below, levels are wasted; above, the converter clips."""
SKYLINE_SHARE = 0.5
BATTERY_H = 8.0
CORNER_LIGHT = 0.9
LATE_FLIP_MIN = 120.0


@dataclass(frozen=True)
class Oddity:
    """One thing that looks odd: its key in the configuration, a code, and figures by name."""

    key: str
    code: str
    figures: dict[str, float | str] = field(default_factory=dict)


def rig_oddities(config: Config, now: datetime.datetime) -> list[Oddity]:
    """Everything that looks odd, site first; `now` decides the time zone's offset."""
    rules: tuple[Callable[[], Iterator[Oddity]], ...] = (
        lambda: _site(config, now),
        lambda: _trains(config),
        lambda: _camera(config),
        lambda: _filters(config),
        lambda: _habits(config),
    )
    return [oddity for rule in rules for oddity in rule()]


def _site(config: Config, now: datetime.datetime) -> Iterator[Oddity]:
    site = config.site
    offset = now.astimezone(site.zone).utcoffset() or datetime.timedelta(0)
    hours = offset / datetime.timedelta(hours=1)
    sun_hours = site.longitude_deg / 15.0
    if abs((hours - sun_hours + 12.0) % 24.0 - 12.0) > ZONE_HOURS:
        figures: dict[str, float | str] = {
            "longitude_deg": site.longitude_deg,
            "timezone": site.timezone,
            "offset_h": hours,
        }
        yield Oddity("site.longitude_deg", "zone_far_from_longitude", figures)
    if site.sky_mag_arcsec2 is not None and site.sky_mag_arcsec2 > DARKEST_MAG:
        sky: dict[str, float | str] = {"sky": site.sky_mag_arcsec2, "darkest": DARKEST_MAG}
        yield Oddity("site.sky_mag_arcsec2", "darker_than_any_sky", sky)
    azimuth = np.arange(360.0)
    hidden = config.horizon.altitude_deg(azimuth) > config.preferences.minimum_altitude_deg
    if hidden.mean() > SKYLINE_SHARE:
        share: dict[str, float | str] = {"share": float(hidden.mean())}
        yield Oddity("horizon.profile_deg", "skyline_above_least_altitude", share)


def _trains(config: Config) -> Iterator[Oddity]:
    for optics in all_train_optics(config):
        key = f"train.{optics.name}"
        if optics.diagonal_mm > optics.image_circle_mm:
            circle: dict[str, float | str] = {
                "train": optics.name,
                "diagonal_mm": optics.diagonal_mm,
                "circle_mm": optics.image_circle_mm,
                "share": optics.circle_share,
            }
            yield Oddity(f"{key}.image_circle_mm", "sensor_beyond_circle", circle)
        if not COARSE <= optics.pixels_per_fwhm <= FINE:
            sampling: dict[str, float | str] = {
                "train": optics.name,
                "pixels": optics.pixels_per_fwhm,
                "word": optics.sampling,
            }
            yield Oddity("camera.pixel_um", "sampling", sampling)
        small = [item for item in optics.filters if item.corner_illumination < CORNER_LIGHT]
        if small:
            worst = min(small, key=lambda item: item.corner_illumination)
            filters: dict[str, float | str] = {
                "train": optics.name,
                "filters": ", ".join(item.filter for item in small),
                "clear_mm": worst.clear_aperture_mm,
                "needed_mm": worst.needed_mm,
                "share": worst.corner_illumination,
            }
            yield Oddity(f"filter.{worst.filter}.clear_aperture_mm", "filter_too_small", filters)
        for words in check_train(config, optics.name).warnings:
            yield Oddity(key, "bolted", {"train": optics.name, "words": words})


def _camera(config: Config) -> Iterator[Oddity]:
    for name, gain in config.camera.gain.items():
        share = gain.full_well_e / gain.e_per_adu / 2.0**config.camera.bits
        if not ADC_SHARE[0] <= share <= ADC_SHARE[1]:
            figures: dict[str, float | str] = {
                "gain": name,
                "full_well_e": gain.full_well_e,
                "range_e": gain.e_per_adu * 2.0**config.camera.bits,
            }
            yield Oddity(f"camera.gain.{name}.e_per_adu", "full_well_and_converter", figures)


def _filters(config: Config) -> Iterator[Oddity]:
    for name, item in config.filter.items():
        line = item.line_nm
        if line is not None and abs(item.centre_nm - line) > item.width_nm / 2.0:
            figures: dict[str, float | str] = {
                "filter": name,
                "role": item.role,
                "line_nm": line,
                "centre_nm": item.centre_nm,
                "width_nm": item.width_nm,
            }
            yield Oddity(f"filter.{name}.centre_nm", "line_outside_filter", figures)


def _habits(config: Config) -> Iterator[Oddity]:
    preferences = config.preferences
    sub = preferences.sub
    if sub.longest_s > sub.guiding_longest_s:
        yield Oddity(
            "preferences.sub.longest_s",
            "guiding_shorter_than_longest_sub",
            {"longest_s": sub.longest_s, "guiding_s": sub.guiding_longest_s},
        )
    if sub.shortest_s > sub.guiding_longest_s:
        yield Oddity(
            "preferences.sub.shortest_s",
            "guiding_shorter_than_shortest_sub",
            {"shortest_s": sub.shortest_s, "guiding_s": sub.guiding_longest_s},
        )
    if sub.longest_s > 60.0 * preferences.shortest_block_min:
        yield Oddity(
            "preferences.shortest_block_min",
            "sub_longer_than_block",
            {"longest_s": sub.longest_s, "block_min": preferences.shortest_block_min},
        )
    if config.mount.track_past_meridian_min > LATE_FLIP_MIN:
        past = config.mount.track_past_meridian_min
        yield Oddity("mount.track_past_meridian_min", "tracks_far_past", {"minutes": past})
    power = config.power
    if power is not None:
        hours = power.battery_wh * (1.0 - power.reserve_share) / power.draw_w
        if hours < BATTERY_H:
            yield Oddity("power.battery_wh", "battery_short", {"hours": hours})
