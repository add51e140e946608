"""A target's useful hours over a year."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import numpy as np

from nightplan.library.inputs import evening_of, targets_of
from nightplan.library.outputs import table_of

if TYPE_CHECKING:
    from astropy.table import QTable

    from nightplan.library.inputs import AnyEvening, AnyTarget
    from nightplan.model.config import Config


def season(
    config: Config,
    target: AnyTarget,
    first: AnyEvening = None,
    nights: int = 365,
    *,
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

    Returns
    -------
    QTable
        `date` (ISO text), `usable` and `usable_moonless` (h), `moon_illuminated_fraction`.

    Raises
    ------
    nightplan.errors.TargetError
        The name is unknown or ambiguous.
    """
    from astropy import units as u

    from nightplan.planning.season import season as year

    (found,) = targets_of(config, [target])
    days = year.year_nights(config.site, evening_of(config.site, first), nights)
    table = year.season(config, days, found.ra_deg, found.dec_deg)
    if plot is not None:
        from nightplan.report.looks.style import picture_format, save_figure
        from nightplan.report.plots.season_plot import season_figure

        picture_format(plot)
        save_figure(plot, season_figure(table, found.label, style=style))
    return table_of(
        {
            "date": [day.isoformat() for day in days.evenings],
            "usable": table.usable_hours[0] * u.hour,
            "usable_moonless": table.moonless_hours[0] * u.hour,
            "moon_illuminated_fraction": np.array(days.moon_illuminated_fraction),
        },
        {"site": config.site.name, "target": found.name},
    )
