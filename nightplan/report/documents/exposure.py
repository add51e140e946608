"""The document of `nightplan exposure`: what each filter collects of one target at one moment."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from nightplan.planning.choosing.exposure import Exposure
from nightplan.planning.photons.filter_budget import FilterBudget
from nightplan.planning.photons.short_set import ShortSet, short_set
from nightplan.report.documents.base import Document
from nightplan.report.documents.target import TargetDocument, target_document
from nightplan.sky.times import utc_iso

SubBound = Literal[
    "read_noise", "overhead", "saturation", "guiding", "user_maximum", "user_minimum"
]


class SkyThere(Document):
    """The sky at the target, in V; parts in nanolamberts add, and `total` is dark + used
    moonlight + twilight."""

    target_altitude_deg: float
    moon_altitude_deg: float
    moon_separation_deg: float
    moon_phase_angle_deg: float
    sun_altitude_deg: float
    extinction_v_mag_airmass: float
    dark_v_mag_arcsec2: float
    moonlight_v_nl: float
    moonlight_used_v_nl: float
    twilight_v_nl: float
    total_v_mag_arcsec2: float


class FilterExposure(Document):
    """One filter. Sky brightness is AB, mean over the passband; S/N is per square arcsecond for
    one hour with the shutter open; `hours_to_snr` are equivalent hours to the wanted S/N. Gain and
    sub are set at the site's moonless zenith, whose sky is `sub_sky_rate_e_s_px`, so that they
    are the same on every night; `sub_extra_noise` is that of the moment. Filters of a class share
    gain and length: `sub_decided_by` names the one whose bound it is, `tidiness_cost_percent` is
    what the sharing, or a length of the user's own, costs in time to a signal to noise."""

    filter: str
    sky_mag_arcsec2: float
    sky_rate_e_s_px: float
    target_rate_e_s_px: float
    target_brightness_source: str
    gain: str
    sub_s: float
    sub_bound: SubBound
    sub_decided_by: str
    sub_pinned: bool
    tidiness_cost_percent: float
    sub_sky_rate_e_s_px: float
    sub_extra_noise: float
    snr_one_hour: float
    worth: float
    hours_to_snr: float | None
    hours_to_snr_reason: str | None = None


class TrainShare(Document):
    """A train beside the chosen one: the target's electrons per pixel and per square arcsecond
    over the chosen train's, and the S/N of one hour, by filter."""

    train: str
    f_ratio: float
    image_scale_arcsec_px: float
    rate_per_pixel: dict[str, float]
    rate_per_arcsec2: dict[str, float]
    snr_one_hour: dict[str, float]


class ExposureDocument(Document):
    """One target at one moment through every filter of a train."""

    site: str
    date: str
    target: str
    target_facts: TargetDocument
    train: str
    time_utc: str
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
    return ExposureDocument(
        site=exposure.night.site.name,
        date=exposure.night.evening.isoformat(),
        target=exposure.target.name,
        target_facts=target_document(exposure.target),
        train=exposure.train,
        time_utc=utc_iso(exposure.utc_mjd),
        sky=_sky(exposure),
        filters=[_filter(exposure, column) for column in range(len(names))],
        wanted_snr=config.preferences.wanted_snr,
        short_set=short_set_row(short),
        short_set_reason="no_core_saturates" if short is None else None,
        sub_breaks=sub_breaks(exposure.train, budget.filters),
        trains=[
            TrainShare(
                train=trade.optics.name,
                f_ratio=round(trade.optics.f_ratio, 3),
                image_scale_arcsec_px=round(trade.optics.image_scale_arcsec_px, 4),
                rate_per_pixel=_by_filter(names, trade.rate_per_pixel),
                rate_per_arcsec2=_by_filter(names, trade.rate_per_arcsec2),
                snr_one_hour=_by_filter(names, trade.snr_one_hour),
            )
            for trade in exposure.trades
        ],
        notices=[*exposure.night.notices, *exposure.notices, *_sun_notice(tracks)],
    )


def _sky(exposure: Exposure) -> SkyThere:
    tracks, parts = exposure.tracks, exposure.budget.v_sky
    from nightplan.light.photometry import v_mag_from_nl

    return SkyThere(
        target_altitude_deg=round(float(tracks.altitude_deg[0, 0]), 4),
        moon_altitude_deg=round(float(tracks.moon_altitude_deg[0]), 4),
        moon_separation_deg=round(float(tracks.moon_separation_deg[0, 0]), 4),
        moon_phase_angle_deg=round(float(tracks.moon_phase_angle_deg[0]), 4),
        sun_altitude_deg=round(float(tracks.sun_altitude_deg[0]), 4),
        extinction_v_mag_airmass=round(exposure.budget.sky.air.v_mag_airmass, 5),
        dark_v_mag_arcsec2=round(float(v_mag_from_nl(parts.dark_nl[0, 0])), 4),
        moonlight_v_nl=_digits(parts.moonlight_nl[0, 0]),
        moonlight_used_v_nl=_digits(parts.moonlight_used_nl[0, 0]),
        twilight_v_nl=_digits(parts.twilight_nl[0, 0]),
        total_v_mag_arcsec2=round(float(parts.total_v_mag[0, 0]), 4),
    )


def _filter(exposure: Exposure, column: int) -> FilterExposure:
    budget = exposure.budget
    cell = (0, column, 0)
    hours = float(budget.hours_to_snr(exposure.config.preferences.wanted_snr)[0, column])
    return FilterExposure(
        filter=budget.filter_names[column],
        sky_mag_arcsec2=round(float(budget.sky_mag_arcsec2[cell]), 4),
        sky_rate_e_s_px=_digits(budget.sky_rate_e_s_px[cell]),
        target_rate_e_s_px=_digits(budget.target_rate_e_s_px[cell]),
        target_brightness_source=budget.light.brightness_source(0, column),
        gain=budget.gain[column],
        sub_s=float(budget.sub_s[column]),
        sub_bound=budget.sub_bound[column],  # type: ignore[arg-type]
        sub_decided_by=budget.filters[column].setting.decided_by,
        sub_pinned=budget.filters[column].setting.pinned,
        tidiness_cost_percent=round(100.0 * budget.filters[column].setting.tidiness_cost, 1),
        sub_sky_rate_e_s_px=_digits(budget.filters[column].reference_sky_e_s),
        sub_extra_noise=_digits(budget.sub_extra_noise[cell]),
        snr_one_hour=_digits(budget.snr_one_hour[cell]),
        worth=_digits(budget.worth[cell]),
        hours_to_snr=_digits(hours) if math.isfinite(hours) else None,
        hours_to_snr_reason=None if math.isfinite(hours) else "no_light_in_this_filter",
    )


def _by_filter(names: tuple[str, ...], values: tuple[float, ...]) -> dict[str, float]:
    return {name: _digits(value) for name, value in zip(names, values, strict=True)}


def _digits(value: float) -> float:
    """Six significant digits."""
    return float(f"{float(value):.6g}")


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
    core_fill: float
    clips_still: bool
    core_source: str


def short_set_row(found: ShortSet | None) -> ShortSetRow | None:
    """Put a short set into its row."""
    if found is None:
        return None
    return ShortSetRow(
        filters=list(found.filters),
        gain=found.gain,
        sub_s=found.sub_s,
        count=found.count,
        core_fill=round(found.core_fill, 2),
        clips_still=found.clips_still,
        core_source=found.core_source,
    )


class SubBreak(Document):
    """A length of the user's own that is kept, and the bound that it breaks."""

    train: str
    filter: str
    sub_s: float
    bound: str
    limit_s: float


def sub_breaks(train: str, budgets: Sequence[FilterBudget]) -> list[SubBreak]:
    """One row for each bound that a filter's own length breaks."""
    return [
        SubBreak(
            train=train,
            filter=budget.filter,
            sub_s=budget.sub_s,
            bound=bound,
            limit_s=round(getattr(budget.limits, f"{bound}_s"), 1),
        )
        for budget in budgets
        for bound in budget.setting.broken
    ]
