"""The document of `nightplan exposure`: what each filter collects of one target at one moment."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from nightplan.planning.choosing.exposure import Exposure
from nightplan.planning.photons.filter_budget import FilterBudget
from nightplan.planning.photons.short_set import ShortSet, short_set
from nightplan.report.documents.base import Day, Digits6, Document, To1, To2, To3, To4, To5, Utc
from nightplan.report.documents.target import TargetDocument, target_document

SubBound = Literal[
    "read_noise", "overhead", "saturation", "guiding", "user_maximum", "user_minimum"
]


class SkyThere(Document):
    """The sky at the target, in V; parts in nanolamberts add, and `total` is dark + used
    moonlight + twilight."""

    target_altitude_deg: To4
    moon_altitude_deg: To4
    moon_separation_deg: To4
    moon_phase_angle_deg: To4
    sun_altitude_deg: To4
    extinction_v_mag_airmass: To5
    dark_v_mag_arcsec2: To4
    moonlight_v_nl: Digits6
    moonlight_used_v_nl: Digits6
    twilight_v_nl: Digits6
    total_v_mag_arcsec2: To4


class FilterExposure(Document):
    """One filter. Sky brightness is AB, mean over the passband; S/N is per square arcsecond for
    one hour with the shutter open; `hours_to_snr` are equivalent hours to the wanted S/N. Gain and
    sub are set at the site's moonless zenith, whose sky is `sub_sky_rate_e_s_px`, so that they
    are the same on every night; `sub_extra_noise` is that of the moment. Filters of a class share
    gain and length: `sub_decided_by` names the one whose bound it is, `tidiness_cost_percent` is
    what the sharing, or a length of the user's own, costs in time to a signal to noise."""

    filter: str
    sky_mag_arcsec2: To4
    sky_rate_e_s_px: Digits6
    target_rate_e_s_px: Digits6
    target_brightness_source: str
    gain: str
    sub_s: float
    sub_bound: SubBound
    sub_decided_by: str
    sub_pinned: bool
    tidiness_cost_percent: To1
    sub_sky_rate_e_s_px: Digits6
    sub_extra_noise: Digits6
    snr_one_hour: Digits6
    worth: Digits6
    hours_to_snr: Digits6 | None
    hours_to_snr_reason: str | None = None


class TrainShare(Document):
    """A train beside the chosen one: the target's electrons per pixel and per square arcsecond
    over the chosen train's, and the S/N of one hour, by filter."""

    train: str
    f_ratio: To3
    image_scale_arcsec_px: To4
    rate_per_pixel: dict[str, Digits6]
    rate_per_arcsec2: dict[str, Digits6]
    snr_one_hour: dict[str, Digits6]


class ExposureDocument(Document):
    """One target at one moment through every filter of a train."""

    site: str
    date: Day
    target: str
    target_facts: TargetDocument
    train: str
    time_utc: Utc
    sky: SkyThere
    filters: list[FilterExposure]
    wanted_snr: float
    short_set: ShortSetRow | None
    short_set_reason: str | None = None
    sub_breaks: list[SubBreak]
    trains: list[TrainShare]
    notices: list[str]


def exposure_document(exposure: Exposure) -> ExposureDocument:
    """Put an exposure into its document."""
    budget, tracks = exposure.budget, exposure.tracks
    names, config = budget.filter_names, exposure.config
    short = short_set(config, exposure.target, exposure.train, budget.filters)
    return ExposureDocument.of(
        site=exposure.night.site.name,
        date=exposure.night.evening,
        target=exposure.target.name,
        target_facts=target_document(exposure.target),
        train=exposure.train,
        time_utc=exposure.utc_mjd,
        sky=_sky(exposure),
        filters=[_filter(exposure, column) for column in range(len(names))],
        wanted_snr=config.preferences.wanted_snr,
        short_set=short_set_row(short),
        short_set_reason="no_core_saturates" if short is None else None,
        sub_breaks=sub_breaks(exposure.train, budget.filters),
        trains=[
            TrainShare.of(
                trade.optics,
                train=trade.optics.name,
                rate_per_pixel=dict(zip(names, trade.rate_per_pixel, strict=True)),
                rate_per_arcsec2=dict(zip(names, trade.rate_per_arcsec2, strict=True)),
                snr_one_hour=dict(zip(names, trade.snr_one_hour, strict=True)),
            )
            for trade in exposure.trades
        ],
        notices=[*exposure.night.notices, *exposure.notices, *_sun_notice(tracks)],
    )


def _sky(exposure: Exposure) -> SkyThere:
    tracks, parts = exposure.tracks, exposure.budget.v_sky
    from nightplan.light.photometry import v_mag_from_nl

    return SkyThere.of(
        target_altitude_deg=tracks.altitude_deg[0, 0],
        moon_altitude_deg=tracks.moon_altitude_deg[0],
        moon_separation_deg=tracks.moon_separation_deg[0, 0],
        moon_phase_angle_deg=tracks.moon_phase_angle_deg[0],
        sun_altitude_deg=tracks.sun_altitude_deg[0],
        extinction_v_mag_airmass=exposure.budget.sky.air.v_mag_airmass,
        dark_v_mag_arcsec2=v_mag_from_nl(parts.dark_nl[0, 0]),
        moonlight_v_nl=parts.moonlight_nl[0, 0],
        moonlight_used_v_nl=parts.moonlight_used_nl[0, 0],
        twilight_v_nl=parts.twilight_nl[0, 0],
        total_v_mag_arcsec2=parts.total_v_mag[0, 0],
    )


def _filter(exposure: Exposure, column: int) -> FilterExposure:
    budget = exposure.budget
    cell = (0, column, 0)
    hours = float(budget.hours_to_snr(exposure.config.preferences.wanted_snr)[0, column])
    return FilterExposure.of(
        filter=budget.filter_names[column],
        sky_mag_arcsec2=budget.sky_mag_arcsec2[cell],
        sky_rate_e_s_px=budget.sky_rate_e_s_px[cell],
        target_rate_e_s_px=budget.target_rate_e_s_px[cell],
        target_brightness_source=budget.light.brightness_source(0, column),
        gain=budget.gain[column],
        sub_s=budget.sub_s[column],
        sub_bound=budget.sub_bound[column],
        sub_decided_by=budget.filters[column].setting.decided_by,
        sub_pinned=budget.filters[column].setting.pinned,
        tidiness_cost_percent=100.0 * budget.filters[column].setting.tidiness_cost,
        sub_sky_rate_e_s_px=budget.filters[column].reference_sky_e_s,
        sub_extra_noise=budget.sub_extra_noise[cell],
        snr_one_hour=budget.snr_one_hour[cell],
        worth=budget.worth[cell],
        hours_to_snr=hours if math.isfinite(hours) else None,
        hours_to_snr_reason=None if math.isfinite(hours) else "no_light_in_this_filter",
    )


def _sun_notice(tracks: object) -> list[str]:
    sun = float(tracks.sun_altitude_deg[0])  # type: ignore[attr-defined]
    if sun <= -18.0:
        return []
    return [f"The sun stands at {sun:.1f}°: twilight is in the sky, good to half a magnitude."]


class ShortSetRow(Document):
    """Short subs for a core that the normal ones burn out; `count` for each of `filters`, all at
    one gain and length. `core_fill` is how many times over the core fills a pixel in the normal
    sub."""

    filters: list[str]
    gain: str
    sub_s: float
    count: int
    core_fill: To2
    clips_still: bool
    core_source: str


def short_set_row(found: ShortSet | None) -> ShortSetRow | None:
    """Put a short set into its row."""
    return None if found is None else ShortSetRow.of(found)


class SubBreak(Document):
    """A length of the user's own that is kept, and the bound that it breaks."""

    train: str
    filter: str
    sub_s: float
    bound: str
    limit_s: To1


def sub_breaks(train: str, budgets: Sequence[FilterBudget]) -> list[SubBreak]:
    """One row for each bound that a filter's own length breaks."""
    return [
        SubBreak(
            train=train,
            filter=budget.filter,
            sub_s=budget.sub_s,
            bound=bound,
            limit_s=getattr(budget.limits, f"{bound}_s"),
        )
        for budget in budgets
        for bound in budget.setting.broken
    ]
