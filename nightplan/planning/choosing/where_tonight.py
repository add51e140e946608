"""Where to drive tonight: one night at several sites, the way and the set-up there counted.

A site's equivalent hours are hours of its own moonless zenith, so they cannot be compared as they
stand. They are turned into those of the first site by the square of the signal to noise that an
hour of each zenith brings of the same target, train and filter.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from nightplan.planning.choosing.selection import RankedTarget, rank_targets
from nightplan.planning.photons.photon_budget import photon_budget
from nightplan.planning.tonight.limits import planned_night
from nightplan.planning.tonight.night import Night
from nightplan.planning.tonight.setup_timeline import arrival_utc_mjd, setup_timeline
from nightplan.planning.tonight.visibility import sky_tracks

if TYPE_CHECKING:
    import datetime

    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config

Progress = Callable[[str], None]
Gathered = Mapping[str, Mapping[str, float]]


@dataclass(frozen=True)
class ThereTarget:
    """A target as a site has it; `first_site_h` are its equivalent hours in those of the first
    site's moonless zenith."""

    ranked: RankedTarget
    first_site_h: float


@dataclass(frozen=True)
class SiteTonight:
    """One site's night.

    Attributes
    ----------
    config : Config
        At this site.
    night : Night
        As it is, whoever comes when.
    arrival_utc_mjd : float or None
        None where neither arrival nor leaving is set.
    ready_utc_mjd : float or None
        From when subs are shot; None where the window is over by then, or there is none.
    usable_h : float
        From then to the window's end.
    away_h : float
        From the door and back: both ways, and the time from arrival (else the first step of
        setting up) to the window's end.
    best : tuple of ThereTarget
        Best first; empty where targets were not asked for or none is up.
    """

    config: Config
    night: Night
    arrival_utc_mjd: float | None
    ready_utc_mjd: float | None
    usable_h: float
    away_h: float
    best: tuple[ThereTarget, ...] = ()

    @property
    def worth_h(self) -> float:
        """What the most rewarding of the best targets brings, in hours of the first site."""
        return max((one.first_site_h for one in self.best), default=0.0)


def sites_tonight(configs: Sequence[Config], evening: datetime.date) -> tuple[SiteTonight, ...]:
    """The night at every site, most usable hours first; no targets."""
    found = [_site_night(config, evening) for config in configs]
    return tuple(sorted(found, key=lambda one: -one.usable_h))


def targets_by_site(
    configs: Sequence[Config],
    evening: datetime.date,
    catalog: Catalog,
    count: int,
    gathered_h: Gathered | None = None,
    progress: Progress | None = None,
) -> tuple[SiteTonight, ...]:
    """The same with the best targets of each, the most rewarding site first.

    Parameters
    ----------
    configs
        One a site; the first is what the others are compared with.
    count : int
        How many targets a site.
    """
    found = []
    for config in configs:
        one = _site_night(config, evening)
        if progress is not None:
            progress(one.night.site.name)
        if one.ready_utc_mjd is not None:
            rest = replace(one.night, window_start_utc_mjd=one.ready_utc_mjd)
            ranking = rank_targets(config, rest, catalog, most=count, gathered_h=gathered_h)
            best = ranking.ranked
            ratios = [
                _zenith_ratio(config, configs[0], ranked, one.ready_utc_mjd) for ranked in best
            ]
            there = (
                ThereTarget(ranked, ranked.equivalent_h * ratio)
                for ranked, ratio in zip(best, ratios, strict=True)
            )
            one = replace(one, best=tuple(there))
        found.append(one)
    return tuple(sorted(found, key=lambda one: -one.worth_h))


def _site_night(config: Config, evening: datetime.date) -> SiteTonight:
    night = planned_night(config, evening)
    arrival = arrival_utc_mjd(config, night)
    both_ways_h = 2.0 * config.site.drive_min / 60.0
    window = night.window_utc_mjd
    if window is None:
        return SiteTonight(config, night, arrival, None, 0.0, both_ways_h)
    setup = setup_timeline(config, night)
    ready = window[0] + setup.into_window_s / 86_400.0
    usable_h = 24.0 * (window[1] - ready)
    there = setup.steps[0].start_utc_mjd if arrival is None else arrival
    away_h = both_ways_h + max(0.0, 24.0 * (window[1] - there))
    if usable_h <= 0.0:
        return SiteTonight(config, night, arrival, None, 0.0, away_h)
    return SiteTonight(config, night, arrival, ready, usable_h, away_h)


def _zenith_ratio(config: Config, first: Config, ranked: RankedTarget, utc_mjd: float) -> float:
    """Hours of the first site's moonless zenith that one of this site's is worth."""
    if config.site == first.site:
        return 1.0
    snr = []
    for one in (config, first):
        tracks = sky_tracks(one.site, [ranked.target.ra_deg], [ranked.target.dec_deg], [utc_mjd])
        budget = photon_budget(one, ranked.train, [ranked.target], tracks)
        column = budget.filter_names.index(ranked.leading_filter)
        snr.append(float(budget.reference_snr_one_hour[0, column]))
    return (snr[0] / snr[1]) ** 2 if snr[1] > 0.0 else 1.0
