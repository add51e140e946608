"""Why a train is taken, and what a target loses by another: sentences from their figures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from nightplan.number_forms import number, percent

if TYPE_CHECKING:
    from nightplan.planning.choosing.train_choice import TargetLoss, TrainFit, TrainRanking


ALIKE = 0.97
"""Trains whose scores differ by less than this ratio are called alike."""


_WORTH_SAYING = 0.05


def begun_words(rankings: Sequence[TrainRanking], begun: Sequence[str | None], train: str) -> str:
    """What to say of targets that were begun with this train or another."""
    pairs = [(one.target, own) for one, own in zip(rankings, begun, strict=True) if own is not None]
    same = [target for target, own in pairs if own == train]
    words = f" {' and '.join(same)} {_were(len(same))} begun with it." if same else ""
    for target, own in pairs:
        if own != train:
            words += f" {target} was begun with the {own}, whose hours do not count here."
    return words


def _were(number: int) -> str:
    return "was" if number == 1 else "were"


def ranking_reason(name: str, fits: Sequence[TrainFit]) -> str:
    best = fits[0]
    if len(fits) == 1:
        return f"{best.train}, the only train: {_holds(best)}."
    other = fits[1]
    gains = sorted(
        best.parts, key=lambda part: _log_ratio(best.parts[part], other.parts[part]), reverse=True
    )
    told = [_comparison(gains[0], best, other) or _holds(best)]
    if _log_ratio(best.parts[gains[1]], other.parts[gains[1]]) > _WORTH_SAYING:
        told.append(_comparison(gains[1], best, other))
    text = f"{best.train} for {name}: {' and '.join(filter(None, told))}"
    lost = _comparison(gains[-1], other, best)
    if lost and _log_ratio(other.parts[gains[-1]], best.parts[gains[-1]]) > _WORTH_SAYING:
        text += f"; against that, the {other.train} has {lost}"
    if other.score > ALIKE * best.score:
        text += f" (the {other.train} does nearly as well)"
    return text + "."


def _log_ratio(one: float, other: float) -> float:
    return math.log(max(one, 1e-9) / max(other, 1e-9))


def _holds(fit: TrainFit) -> str:
    panels = len(fit.framing.panels)
    if panels > 1:
        return f"{panels} panels hold {_share_words(fit.framing.coverage)}"
    return f"one field holds {_share_words(fit.framing.coverage)}"


def _share_words(coverage: float) -> str:
    return "all of it" if coverage >= 0.9995 else f"{percent(coverage)} of it"


def _comparison(part: str, one: TrainFit, other: TrainFit) -> str:
    """In what one train is better than another; empty where it is not."""
    if _log_ratio(one.parts[part], other.parts[part]) < 0.005:
        return ""
    if part == "time":
        return _time_words(one, other)
    if part == "corners":
        return _corner_words(one, other)
    return {
        "coverage": (
            f"{_fields(len(one.framing.panels))} with {_share_words(one.framing.coverage)} "
            f"instead of {_share_words(other.framing.coverage)}"
        ),
        "margin": (
            f"{number(one.framing.margin_arcmin)}′ from the outline to the edge instead of "
            f"{number(other.framing.margin_arcmin)}′"
        ),
        "detail": (
            f"{one.pixels_across:.0f} pixels across the target instead of {other.pixels_across:.0f}"
        ),
        "sampling": (
            f"{one.optics.pixels_per_fwhm:.1f} pixels per FWHM of the seeing "
            f"({one.optics.sampling}) instead of {other.optics.pixels_per_fwhm:.1f}"
        ),
    }[part]


def _time_words(one: TrainFit, other: TrainFit) -> str:
    fields = [_fields(len(fit.framing.panels)) for fit in (one, other)]
    finite = math.isfinite(one.hours_all_panels) and math.isfinite(other.hours_all_panels)
    hours = f"{_hours(one.hours_all_panels)} instead of {_hours(other.hours_all_panels)}"
    if finite and min(one.hours_all_panels, other.hours_all_panels) > 100.0:
        hours = f"{one.hours_all_panels / other.hours_all_panels:.2f} of the hours"
    if fields[0] != fields[1]:
        told = f"{fields[0]} instead of {fields[1].removesuffix(' panels')}"
        return told + (f" ({hours})" if finite else "")
    return f"{hours} to the wanted signal" if finite else "signal at all"


def _corner_words(one: TrainFit, other: TrainFit) -> str:
    told = [
        f"{percent(own.corner_illumination)} of the light in the corners"
        + ("" if own.circle_covers else " and an image circle smaller than the sensor")
        for own in (one.optics, other.optics)
    ]
    return f"{told[0]} instead of {told[1]}" if told[0] != told[1] else ""


def _fields(panels: int) -> str:
    return "one field" if panels == 1 else f"{panels} panels"


def _hours(hours: float) -> str:
    return f"{hours:.1f} h" if hours <= 100.0 else "more than 100 h"


def loss_reason(ranking: TrainRanking, train: str, share: float) -> str:
    """What a target loses by a train that is not its best; `share` of its best score."""
    taken, best = ranking.of(train), ranking.best
    if taken.parts["wish"] == 0.0:
        return f"{ranking.target} is to be shot with the {best.train}, as you chose."
    told = {
        part: words
        for part in sorted(best.parts, key=lambda p: -_log_ratio(best.parts[p], taken.parts[p]))
        if _log_ratio(best.parts[part], taken.parts[part]) > 0.03
        and (words := _comparison(part, best, taken))
    }
    first = list(told)[:2]
    reason = f"{ranking.target} would do better with the {best.train}"
    reason += f": {' and '.join(told[part] for part in first)}. " if told else " by little. "
    reason += f"It loses {percent(share)} of its best score"
    hours = taken.hours_all_panels, best.hours_all_panels
    if "time" not in first and min(hours) <= 100.0 and math.isfinite(max(hours)):
        alike = abs(_log_ratio(*hours)) < _WORTH_SAYING
        reason += f"; to the wanted signal it takes {_hours(hours[0])}"
        reason += ", much as there" if alike else f" instead of {_hours(hours[1])}"
    return f"{reason}."


def night_reason(rankings: Sequence[TrainRanking], train: str, losses: Sequence[TargetLoss]) -> str:
    if len(rankings) == 1:
        return (
            rankings[0].reason
            if rankings[0].best.train == train
            else (f"{train}, for {rankings[0].target}.")
        )
    best_for = [loss.target for loss in losses if loss.share == 0.0]
    worse = [loss for loss in losses if loss.share > 0.0]
    if not worse:
        return f"{train}: the best train for every target of the night."
    told = ", ".join(f"{loss.target} {percent(loss.share)}" for loss in worse)
    whose = f"it is the best for {', '.join(best_for)}" if best_for else "it serves all best"
    return f"{train}: {whose}, and costs {told} of the best score."
