"""Which train each target of a campaign keeps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.planning.campaign.policy import Rows, night_work
from nightplan.planning.campaign.rows import campaign_rows
from nightplan.planning.campaign.skies import LUNATION_NIGHTS, typical_rates
from nightplan.planning.choosing.train_assignment import best_assignment

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.campaign.sky import CampaignNights, Offer
    from nightplan.planning.choosing.train_choice import TrainRanking
    from nightplan.planning.returning.earlier_nights import EarlierNights

Floats = NDArray[np.float64]


def choose_trains(
    config: Config,
    ahead: CampaignNights,
    targets: Sequence[Target],
    rankings: Sequence[TrainRanking],
    offered: Mapping[str, Offer],
    earlier: EarlierNights,
    chance: float,
) -> tuple[list[str], list[str]]:
    """A train for each target, and why: what was begun goes on; else the choice that gains most.

    Each target in its own best train makes a night serve only those of the night's train; one
    train for several gives some of them a worse one. Compared is the expected gain of the first
    lunation, each target's weighted by its train's score over its best.
    """
    begun = [earlier.begun_train(target.name, config.train) for target in targets]

    def gain(option: Sequence[str]) -> float:
        return _expected_gain(config, ahead, targets, rankings, option, offered, earlier, chance)

    chosen = list(best_assignment(tuple(config.train), rankings, begun, gain).best)
    reasons = []
    for target, ranking, train, kept in zip(targets, rankings, chosen, begun, strict=True):
        if kept is not None:
            reasons.append(f"{train}: {target.name} was begun with it.")
        elif train == ranking.best.train:
            reasons.append(ranking.reason)
        else:
            score = ranking.of(train).score / ranking.best.score
            reasons.append(
                f"{train}, so that it shares nights with others; alone it would do "
                f"{100.0 * (1.0 - score):.0f} % better with the {ranking.best.train}."
            )
    return chosen, reasons


def _expected_gain(
    config: Config,
    ahead: CampaignNights,
    targets: Sequence[Target],
    rankings: Sequence[TrainRanking],
    choice: Sequence[str],
    offered: Mapping[str, Offer],
    earlier: EarlierNights,
    chance: float,
) -> float:
    """Utility gained in the first lunation with every night bringing its expected part."""
    rows, rate, typical = posed(config, ahead, targets, rankings, choice, offered, earlier)
    share = rows.share[None, :]
    for night in range(min(LUNATION_NIGHTS, len(ahead))):
        if ahead.slots[night]:
            work = night_work(
                rows,
                share,
                rate[night, : ahead.slots[night]],
                typical[night],
                float(ahead.slot_h[night]),
                config.preferences.balance,
            )
            share = share + chance * (work.share - share)
    merit = np.array(
        [
            ranking.of(train).score / ranking.best.score if ranking.best.score > 0.0 else 1.0
            for ranking, train in zip(rankings, choice, strict=True)
        ]
    )
    start, end = rows.share, share[0]
    gain = rows.weight * (end * (2.0 - end) - start * (2.0 - start))
    return float((merit[rows.target] * gain).sum())


def posed(
    config: Config,
    ahead: CampaignNights,
    targets: Sequence[Target],
    rankings: Sequence[TrainRanking],
    choice: Sequence[str],
    offered: Mapping[str, Offer],
    earlier: EarlierNights,
) -> tuple[Rows, Floats, Floats]:
    """Rows of a choice of trains, their rates (night, slot, row) and typical rates."""
    first = next(n for n in ahead.nights if n is not None and n.window_utc_mjd is not None)
    rows = campaign_rows(config, first, targets, rankings, choice, earlier)
    names = list(config.train)
    rate = np.stack(
        [
            offered[names[train]].rate[:, :, target, column]
            for train, target, column in zip(rows.train, rows.target, rows.filter, strict=True)
        ],
        axis=-1,
    )
    return rows, rate, typical_rates(rate, ahead.slot_h, ahead.slots)
