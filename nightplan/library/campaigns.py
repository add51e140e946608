"""What the coming nights serve, and when goals are reached."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from nightplan.library.earlier import Remembered, remembered
from nightplan.library.inputs import catalog_and_rows, evening_of, listed
from nightplan.library.outputs import Pictured, floats_of, quantity, table_of

if TYPE_CHECKING:
    from astroplan import Constraint
    from astropy.table import QTable
    from matplotlib.figure import Figure

    from nightplan.library.inputs import AnyEvening, AnyTarget
    from nightplan.model.config import Config
    from nightplan.planning.campaign.campaign import Campaign
    from nightplan.report.documents.campaign import CampaignDocument


class ComingNights(Pictured):
    """A run of nights shared out over targets, in astropy objects.

    Attributes
    ----------
    campaign : Campaign
        The planner's own.
    """

    def __init__(self, campaign: Campaign) -> None:
        self.campaign = campaign

    @property
    def nights(self) -> QTable:
        """What each night serves if it is clear: `date`, `target`, `train`, `clock_time`,
        `equivalent_time`, `moon_illuminated_fraction`; a night may have several rows."""

        rows = self.document.nights
        return table_of(
            {
                "date": [row.date for row in rows],
                "target": [row.target for row in rows],
                "train": [row.train for row in rows],
                "clock_time": quantity(floats_of([row.hours for row in rows]), "h"),
                "equivalent_time": quantity(floats_of([row.equivalent_h for row in rows]), "h"),
                "moon_illuminated_fraction": floats_of(
                    [row.moon_illuminated_fraction for row in rows]
                ),
            },
            {"site": self.campaign.site, "reason": self.campaign.empty_reason or ""},
        )

    @property
    def finished(self) -> QTable:
        """Per target: `expected_date` (evening after which half of all skies have brought its
        goals; empty if none of the nights is), `chance` by the last night, `train`."""
        rows = self.document.finished
        return table_of(
            {
                "target": [row.target for row in rows],
                "expected_date": [row.expected_date for row in rows],
                "chance": floats_of([row.chance for row in rows]),
                "train": [row.train for row in rows],
                "priority": np.array([row.priority for row in rows], dtype=float),
            }
        )

    @property
    def document(self) -> CampaignDocument:
        """The JSON document of `nightplan campaign`."""
        from nightplan.report.documents.campaign import campaign_document

        return campaign_document(self.campaign)

    def _text(self, full: bool) -> str:
        from nightplan.report.texts.campaign_text import campaign_text

        return campaign_text(self.document, full=full)

    def figure(self, *, style: str = "day", narrow: bool = False) -> Figure:
        """The calendar as a matplotlib figure."""
        from nightplan.report.plots.calendar_picture import calendar_picture
        from nightplan.report.plots.calendar_plot import calendar_figure

        return calendar_figure(
            calendar_picture(self.document.model_dump(mode="json")), style=style, narrow=narrow
        )


def campaign(
    config: Config,
    targets: AnyTarget | Iterable[AnyTarget] = (),
    first: AnyEvening = None,
    nights: int = 30,
    *,
    chance: float | None = None,
    journal: bool = True,
    on_step: Callable[[int, int], None] | None = None,
    constraints: Sequence[Constraint] = (),
) -> ComingNights:
    """Share the coming nights out over targets and trains; as `nightplan campaign`.

    Parameters
    ----------
    config : Config
    targets : names, SkyCoords, FixedTargets or Targets
        By default those with a goal or in the configuration's list, else the best of the first
        night.
    first : date, str, Time or None
        The first evening, as of `night`.
    nights : int
        How many.
    chance : float, optional
        That a night is clear, 0 to 1; by default the configuration's.
    journal : bool
        Count what the journal beside the configuration has gathered, and take its goals.
    on_step : callable, optional
        Given the number of steps done, and of all.
    constraints : sequence of astroplan.Constraint
        As of `pick`: beside the limits of the configuration.

    Raises
    ------
    nightplan.errors.InputError
        `nights`, `chance` or the number of targets is out of range.
    nightplan.errors.TargetError
        A name is unknown or ambiguous.
    """
    from nightplan.planning.campaign.campaign import make_campaign

    catalog, rows = catalog_and_rows(config, listed(targets))
    memory = remembered(config) if journal else Remembered(config)
    made = make_campaign(
        memory.config.constrained(constraints),
        evening_of(config.site, first),
        nights,
        catalog,
        [str(catalog.name[row]) for row in rows],
        earlier=memory.earlier,
        chance=chance,
        progress=on_step,
    )
    return ComingNights(made)
