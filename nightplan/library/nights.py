"""The dark window of one night, and the sites of one file compared."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from nightplan.errors import InputError
from nightplan.library.earlier import remembered
from nightplan.library.inputs import evening_of, night_of
from nightplan.library.outputs import Answer, floats_of, optional_time, quantity, table_of, time_of
from nightplan.model.rigs_and_sites import at_all_sites
from nightplan.planning.tonight.night import EVENT_NAMES, Event, Night

if TYPE_CHECKING:
    from astropy.table import QTable
    from astropy.time import Time
    from astropy.units import Quantity

    from nightplan.library.inputs import AnyEvening, AnyPlace
    from nightplan.model.config import Config
    from nightplan.planning.choosing.where_tonight import SiteTonight
    from nightplan.report.documents.night import NightDocument, SitesDocument


class _EventTime:
    """An event of the night as an astropy Time, or None where it does not happen."""

    def __set_name__(self, owner: type, name: str) -> None:
        self.name = name

    def __get__(self, answer: Any, owner: type | None = None) -> Any:
        return self if answer is None else answer.time(self.name)


class NightTimes(Answer):
    """One night at one site, in astropy objects.

    Events are `Time`, or None where they do not happen between local noon and the next;
    `reason(name)` then says why.

    Attributes
    ----------
    night : Night
        The planner's own, with times as UTC MJD.
    """

    def __init__(self, night: Night) -> None:
        self.night = night

    sunset = _EventTime()
    civil_dusk = _EventTime()
    nautical_dusk = _EventTime()
    astronomical_dusk = _EventTime()
    astronomical_dawn = _EventTime()
    nautical_dawn = _EventTime()
    civil_dawn = _EventTime()
    sunrise = _EventTime()
    moonrise = _EventTime()
    moonset = _EventTime()

    def time(self, name: str) -> Time | None:
        """An event by its name. Raises InputError for a name that is none."""
        return optional_time(self._event(name).utc_mjd)

    def reason(self, name: str) -> str | None:
        """Why an event is missing: `always_up`, `always_down`, `outside_interval`, or None."""
        return self._event(name).reason

    def _event(self, name: str) -> Event:
        if name not in self.night.events:
            raise InputError("library", "name", name, f"one of {', '.join(self.night.events)}")
        return self.night.events[name]

    @property
    def evening(self) -> datetime.date:
        """Civil date at the site's noon before the night."""
        return self.night.evening

    @property
    def window(self) -> Time | None:
        """Start and end of the window that holds all work, shape (2,); None without one."""
        found = self.night.window_utc_mjd
        return None if found is None else time_of(found)

    @property
    def window_kind(self) -> str:
        """`astronomical`, `nautical` or `none`."""
        return self.night.window_kind

    @property
    def midnight(self) -> Time:
        """Civil midnight at the site."""
        return time_of(self.night.midnight_utc_mjd)

    @property
    def dark(self) -> Quantity:
        """Length of astronomical darkness, hours; 0 if there is none."""

        return quantity(self.night.dark_hours, "h")

    @property
    def moonless_dark(self) -> Quantity:
        """The part of it with the moon down, hours."""

        return quantity(self.night.moonless_dark_hours, "h")

    @property
    def moon_illuminated_fraction(self) -> float:
        """Geocentric, at civil midnight, 0 to 1."""
        return self.night.moon_illuminated_fraction

    @property
    def notices(self) -> tuple[str, ...]:
        """What a person should know of this night."""
        return self.night.notices

    @property
    def events(self) -> QTable:
        """All events: `event`, `time` (masked where it does not happen), `reason`."""
        found = self.night.events
        return table_of(
            {
                "event": list(EVENT_NAMES),
                "time": time_of(floats_of([found[name].utc_mjd for name in EVENT_NAMES])),
                "reason": [found[name].reason for name in EVENT_NAMES],
            },
            {"site": self.night.site.name, "date": self.evening.isoformat()},
        )

    @property
    def document(self) -> NightDocument:
        """The JSON document of `nightplan night`."""
        from nightplan.report.documents.night import night_document

        return night_document(self.night)

    def _text(self, full: bool) -> str:
        from nightplan.report.texts.night_text import night_text

        return night_text(self.night)


def night(where: AnyPlace, evening: AnyEvening = None) -> NightTimes:
    """Twilights, moon and the dark window of one night; as `nightplan night`.

    Parameters
    ----------
    where : Config, Site or astroplan.Observer
        An Observer needs its `timezone`, which says when the evening's noon is.
    evening : date, str, Time or None
        Civil date at the site's noon before the night; a Time means the night whose
        noon-to-noon holds it, None the night that holds now.

    Raises
    ------
    nightplan.errors.InputError
        `where` or `evening` is not one of these, or the date is out of range.
    """
    return NightTimes(night_of(where, evening))


class SitesCompared(Answer):
    """The sites of one file for one evening, best first."""

    def __init__(self, found: Sequence[SiteTonight], first: Config, *, ranked: bool) -> None:
        self.found = found
        self._first = first.site.name
        self._ranked = ranked

    @property
    def table(self) -> QTable:
        """A row a site: `site`, `drive` (one way), `window_start` and `window_end`, `ready` (Time,
        masked where no sub is shot), `usable_time`, `away_time`, and where targets were asked for
        `target` and `worth` (hours of the first site), of the one that brings most."""
        from astropy import units as u

        def times(values: Sequence[float | None]) -> Time:
            return time_of(floats_of(values))

        nights = [one.night for one in self.found]
        columns = {
            "site": [night.site.name for night in nights],
            "drive": np.array([one.config.site.drive_min for one in self.found]) * u.min,
            "window_start": times([night.window_start_utc_mjd for night in nights]),
            "window_end": times([night.window_end_utc_mjd for night in nights]),
            "ready": times([one.ready_utc_mjd for one in self.found]),
            "usable_time": np.array([one.usable_h for one in self.found]) * u.hour,
            "away_time": np.array([one.away_h for one in self.found]) * u.hour,
        }
        if self._ranked:
            most = [max(one.best, key=lambda there: there.first_site_h, default=None)
                    for one in self.found]  # fmt: skip
            columns["target"] = ["" if one is None else one.ranked.target.name for one in most]
            columns["worth"] = np.array([one.worth_h for one in self.found]) * u.hour
        meta = {"date": nights[0].evening.isoformat(), "first_site": self._first}
        return table_of(columns, meta)

    @property
    def document(self) -> SitesDocument:
        """The JSON document of `--all-sites`."""
        from nightplan.report.documents.night import sites_document

        return sites_document(self.found, self._first, ranked=self._ranked)

    def _text(self, full: bool) -> str:
        from nightplan.report.texts.night_text import sites_text

        return sites_text(self.document, [one.config.site.zone for one in self.found])


def nights_by_site(config: Config, evening: AnyEvening = None) -> SitesCompared:
    """Compare the night at all sites of a configuration's file; as `nightplan night --all-sites`.

    Parameters
    ----------
    config : Config
    evening : date, str, Time or None
        As of `night`, at the file's first site.

    Returns
    -------
    SitesCompared
        Most usable hours first, the way and the set-up there counted.

    Raises
    ------
    nightplan.errors.InputError
        The date is out of range.
    """
    from nightplan.planning.choosing.where_tonight import sites_tonight

    configs = at_all_sites(config)
    found = sites_tonight(configs, evening_of(configs[0].site, evening))
    return SitesCompared(found, configs[0], ranked=False)


def targets_by_site(
    config: Config,
    evening: AnyEvening = None,
    *,
    count: int = 15,
    on_site: Callable[[str], None] | None = None,
) -> SitesCompared:
    """Compare what the best targets bring at all sites of a file; as `nightplan pick --all-sites`.

    Parameters
    ----------
    config : Config
    evening : date, str, Time or None
        As of `nights_by_site`.
    count : int
        How many targets of each site.
    on_site : callable, optional
        Is given each site's name as its turn comes.

    Returns
    -------
    SitesCompared
        The most rewarding site first; hours of all are counted in those of the first site's
        moonless zenith.

    Raises
    ------
    nightplan.errors.InputError
        The date is out of range.
    """
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.choosing import where_tonight

    journals = [remembered(one) for one in at_all_sites(config)]
    first = journals[0].config
    found = where_tonight.targets_by_site(
        [journal.config for journal in journals],
        evening_of(first.site, evening),
        catalog_for(first),
        count,
        journals[0].earlier.by_filter(),
        on_site,
    )
    return SitesCompared(found, first, ranked=True)
