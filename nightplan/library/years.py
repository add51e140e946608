"""A target's useful hours over a year, and the best targets of a month."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from nightplan.errors import InputError
from nightplan.library.earlier import with_stored_goals
from nightplan.library.inputs import evening_of, targets_of
from nightplan.library.outputs import Answer, Pictured, quantity, table_of

if TYPE_CHECKING:
    import datetime

    from astroplan import Constraint
    from astropy.table import QTable
    from matplotlib.figure import Figure

    from nightplan.library.inputs import AnyEvening, AnyTarget
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.season.season import Season
    from nightplan.report.documents.season import MonthTarget, SeasonNight


class Year(Pictured):
    """One target, night by night; `train` is the one whose field its text names."""

    def __init__(
        self, config: Config, target: Target, table: Season, train: str | None, least_hours: float
    ) -> None:
        self.table = table
        self._config = config
        self._target = target
        self._train = train
        self._least_hours = least_hours

    @property
    def nights(self) -> QTable:
        """As `season` returns them."""

        return table_of(
            {
                "date": [day.isoformat() for day in self.table.nights.evenings],
                "usable": quantity(self.table.usable_hours[0], "h"),
                "usable_moonless": quantity(self.table.moonless_hours[0], "h"),
                "moon_illuminated_fraction": np.array(self.table.nights.moon_illuminated_fraction),
            },
            {"site": self._config.site.name, "target": self._target.name},
        )

    @property
    def document(self) -> list[SeasonNight]:  # type: ignore[override]
        """The JSON document of `nightplan season TARGET`."""
        from nightplan.report.documents.season import season_document

        return season_document(self.table)

    def _text(self, full: bool) -> str:
        from nightplan.planning.choosing.exposure import fitting_train
        from nightplan.planning.optics.train_optics import train_optics
        from nightplan.planning.photons.goals import target_goals
        from nightplan.report.texts.season_text import season_text

        config, target = self._config, self._target
        optics = train_optics(config, self._train or fitting_train(config, target))
        hours = target_goals(config, [target], optics.name)[0].hours
        return season_text(self.table, target, optics, hours, self._least_hours)

    def figure(self, *, style: str = "day", narrow: bool = False) -> Figure:
        """The calendar heat map as a matplotlib figure."""
        from nightplan.report.plots.season_plot import season_figure

        return season_figure(self.table, self._target.label, style=style, narrow=narrow)


def season(
    config: Config,
    target: AnyTarget,
    first: AnyEvening = None,
    nights: int = 365,
    *,
    constraints: Sequence[Constraint] = (),
    plot: str | os.PathLike[str] | None = None,
    style: str = "day",
) -> QTable:
    """Hours inside the limits, night by night; as `nightplan season TARGET`.

    Parameters
    ----------
    config : Config
    target : str, SkyCoord, FixedTarget or Target
    first : date, str, Time or None
        The first evening, as of `night`.
    nights : int
    plot : path, optional
        Save the calendar heat map: .png, .svg or .pdf.
    style : str
        The plot's.
    constraints : sequence of astroplan.Constraint
        As of `pick`: beside the limits of the configuration; every night is then asked about
        by itself, a few seconds a year.

    Returns
    -------
    QTable
        `date` (ISO text), `usable` and `usable_moonless` (h), `moon_illuminated_fraction`.

    Raises
    ------
    nightplan.errors.TargetError
        The name is unknown or ambiguous.
    """
    from nightplan.report.looks.style import picture_format

    if plot is not None:
        picture_format(plot)
    year = year_of(config.constrained(constraints), target, first, nights)
    if plot is not None:
        year.save_plot(plot, style=style)
    return year.nights


def year_of(
    config: Config,
    target: AnyTarget,
    first: AnyEvening = None,
    nights: int = 365,
    *,
    train: str | None = None,
    least_hours: float = 2.0,
) -> Year:
    """The answer behind `season`; arguments as there. A night of `least_hours` is useful."""
    from nightplan.planning.optics.train_optics import train_optics
    from nightplan.planning.season import season as planning

    config = with_stored_goals(config)
    if train is not None:
        train_optics(config, train)  # raises where there is no such train
    (found,) = targets_of(config, [target])
    days = planning.year_nights(config.site, evening_of(config.site, first), nights)
    table = planning.season(config, days, found.ra_deg, found.dec_deg)
    return Year(config, found, table, train, least_hours)


class Month(Answer):
    """The best targets of a month."""

    def __init__(self, rows: list[MonthTarget], month: tuple[int, int]) -> None:
        self._rows = rows
        self._month = month

    @property
    def document(self) -> list[MonthTarget]:  # type: ignore[override]
        """The JSON document of `nightplan season --month`."""
        return self._rows

    def _text(self, full: bool) -> str:
        from nightplan.report.texts.season_text import month_text

        return month_text(self._rows, self._month, full=full)


def month_of(
    config: Config,
    month: str | None = None,
    first: AnyEvening = None,
    *,
    train: str | None = None,
    count: int = 15,
    least_hours: float = 2.0,
    on_step: Callable[[int, int], None] | None = None,
) -> Month:
    """Rank the catalogue for a month, ``YYYY-MM``, of the year from `first` on; by default its
    first one. Raises InputError for another month."""
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.choosing.merits import best_merits
    from nightplan.planning.optics.train_optics import train_optics
    from nightplan.planning.season.ranking import fitting, one_a_subject, rank_month
    from nightplan.planning.season.season import season as hours_of
    from nightplan.planning.season.season import year_nights
    from nightplan.report.documents.season import month_document

    config = with_stored_goals(config)
    begin = evening_of(config.site, first)
    wanted = _month(month, begin)
    catalog = catalog_for(config)
    trains = {
        name: fitting(catalog, train_optics(config, name))
        for name in ([train] if train else config.train)
    }
    rows = np.flatnonzero(np.any(list(trains.values()), axis=0))
    nights = year_nights(config.site, begin.replace(day=1))
    table = hours_of(config, nights, catalog.ra_deg[rows], catalog.dec_deg[rows], on_step)
    allowed = {name: mask[rows] for name, mask in trains.items()}
    merits = best_merits(config, catalog.subset(rows), allowed, nights.frame.utc_mjd)
    looked_at = rank_month(table, rows, merits, wanted, 3 * count, least_hours)
    listed = one_a_subject(config, catalog, looked_at)[:count]
    return Month(month_document(listed, catalog), wanted)


def _month(text: str | None, first: datetime.date) -> tuple[int, int]:
    """The month to rank; one of the twelve that the year from `first` on holds."""
    if text is None:
        return first.year, first.month
    found = re.fullmatch(r"(\d{4})-(\d{2})", text)
    months = [divmod(first.year * 12 + first.month - 1 + step, 12) for step in range(12)]
    held = [(year, month + 1) for year, month in months]
    if found is None or (int(found[1]), int(found[2])) not in held:
        last = held[-1]
        accepted = f"YYYY-MM from {first:%Y-%m} to {last[0]:04d}-{last[1]:02d}"
        raise InputError("library", "month", text, accepted)
    return int(found[1]), int(found[2])
