"""What makes an hour of tonight dear or cheap beside the nights that follow, row by row."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from nightplan.planning.ahead.assessment import Assessment
    from nightplan.planning.ahead.choice import NightChoice

PriceCode = Literal["best_until", "no_better_ahead", "season_ends", "keeps_in_moonlight"]

AS_GOOD = 0.9
"""A night is as good as tonight for a row if it offers this share of the hours."""
NIGHTS_APART = 3
"""A wait of fewer nights is not worth a word."""
MOONLIT = 0.55
KEEPS = 0.6
"""A filter keeps in moonlight if moonlit nights offer this share of the best night."""


@dataclass(frozen=True)
class NightPrice:
    """Why some filters of a target are taken tonight, or left for later.

    `best_until`: no night before `date` offers these filters as much; `no_better_ahead`: none in
    the nights looked at does; `season_ends`: after `date` the target is out of reach;
    `keeps_in_moonlight`: the filters were left out, for moonlit nights bring `share` of the best.
    """

    target: str
    filters: tuple[str, ...]
    code: PriceCode
    date: datetime.date | None = None
    share: float | None = None


def night_prices(
    found: Assessment, choice: NightChoice, filters: tuple[str, ...]
) -> tuple[NightPrice, ...]:
    """Prices worth telling of tonight's chosen targets.

    Parameters
    ----------
    filters : tuple of str
        Names of the channels.
    """
    rows = found.rows
    assert rows is not None
    offered_h = found.parts_h.sum(axis=1)
    lit = np.nan_to_num(found.ahead.moon_illuminated_fraction) > MOONLIT
    told: dict[tuple[str, PriceCode, datetime.date | None], list[int]] = {}
    for row in np.flatnonzero(choice.chosen[0][rows.target]):
        name = found.targets[rows.target[row]].name
        hours = offered_h[:, row]
        if choice.clock_h[0, row] > 0.0:
            code, date = _when_again(hours, found.ahead.evenings)
        else:
            code, date = _keeps(hours, lit), None
        if code is not None:
            told.setdefault((name, code, date), []).append(int(row))
    prices = []
    for (name, code, date), members in told.items():
        share = None
        if code == "keeps_in_moonlight":
            best = offered_h[:, members].max(axis=0)
            share = float((offered_h[lit][:, members].max(axis=0) / best).mean())
        names = tuple(filters[rows.channel[row]] for row in members)
        prices.append(NightPrice(name, names, code, date, share))
    return tuple(prices)


def _when_again(
    hours: np.ndarray, evenings: tuple[datetime.date, ...]
) -> tuple[PriceCode | None, datetime.date | None]:
    """When a night offers as much again, if that is far off."""
    again = np.flatnonzero(hours[1:] >= AS_GOOD * hours[0]) + 1
    up = np.flatnonzero(hours > 0.0)
    if up.size and up[-1] < hours.size - 1 - NIGHTS_APART:
        return "season_ends", evenings[up[-1]]
    if again.size == 0:
        return "no_better_ahead", None
    return ("best_until", evenings[again[0]]) if again[0] > NIGHTS_APART else (None, None)


def _keeps(hours: np.ndarray, lit: np.ndarray) -> PriceCode | None:
    """Whether moonlit nights bring much of what the best night does."""
    best = hours.max(initial=0.0)
    if best <= 0.0 or not lit.any():
        return None
    return "keeps_in_moonlight" if hours[lit].max() >= KEEPS * best else None
