"""Which train for which target, in numbers and one sentence; and one train for the night.

A train's score for a target is a product of parts from 0 to 1, kept apart so that a rank can be
explained. The weights are ours and stated here:

- `coverage`: share of the target in the panels, squared;
- `margin`: 1 with the wanted margin, 0.9 to 1 with less, 0.9 where a sliver of the outline is cut
  and 0.85 where more is;
- `time`: (least hours of any train ÷ this train's) to the power 0.75, all panels counted;
- `detail`: fourth root of (image scale of the finest train ÷ this train's);
- `sampling`: 1 from 2 to 3.5 pixels per FWHM of the seeing, falling as the ratio outside;
- `corners`: half weight on the light that the filter's edge leaves the corner, times the share of
  the sensor inside the image circle;
- `wish`: 0 for a train other than the one that the imager wishes for this target, else 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.model.wishes import framing_for
from nightplan.number_forms import number, percent
from nightplan.planning.framing.framing import SINGLE_FIELD_COVERAGE, Framing, frame_target
from nightplan.planning.framing.outlines import shape_of
from nightplan.planning.optics.train_optics import ARCSEC_PER_RADIAN, TrainOptics, train_optics

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target

PARTS = ("coverage", "margin", "time", "detail", "sampling", "corners", "wish")

CUT_MARGIN = 0.85
THIN_MARGIN = 0.9
TIME_POWER = 0.75
GOOD_SAMPLING = (2.0, 3.5)
ALIKE = 0.97
"""Trains whose scores differ by less than this ratio are called alike."""

_WORTH_SAYING = 0.05

HoursToSnr = Callable[["Target", str], float]


@dataclass(frozen=True)
class TrainFit:
    """One train for one target.

    Attributes
    ----------
    train : str
    framing : Framing
    optics : TrainOptics
    pixels_across : float
        Pixels along the target's longest extent.
    hours_to_snr : float
        Hours of one field to the wanted signal to noise; infinite if it is never reached.
    hours_all_panels : float
        The same for all panels.
    parts : mapping of str to float
        By the names of `PARTS`.
    score : float
        Their product.
    """

    train: str
    framing: Framing
    optics: TrainOptics
    pixels_across: float
    hours_to_snr: float
    hours_all_panels: float
    parts: Mapping[str, float]
    score: float


@dataclass(frozen=True)
class TrainRanking:
    """All trains for one target, best first, and why in one sentence."""

    target: str
    fits: tuple[TrainFit, ...]
    reason: str

    @property
    def best(self) -> TrainFit:
        """The train to take for this target alone."""
        return self.fits[0]

    def of(self, train: str) -> TrainFit:
        """The entry of one train. Raises KeyError if it is not ranked."""
        for fit in self.fits:
            if fit.train == train:
                return fit
        raise KeyError(train)


@dataclass(frozen=True)
class TargetLoss:
    """What one target loses by the night's train.

    `share` is the part of its best score that is lost, 0 to 1; `reason` says it in words.
    """

    target: str
    best_train: str
    share: float
    reason: str


@dataclass(frozen=True)
class NightTrain:
    """The one train of a night."""

    train: str
    reason: str
    losses: tuple[TargetLoss, ...]


def rank_trains(
    config: Config,
    target: Target,
    *,
    hours_to_snr: HoursToSnr | None = None,
    angle_deg: float | None = None,
    used_angles: Mapping[str, Sequence[float]] | Sequence[float] = (),
    flats_angles: Mapping[str, Sequence[float]] | Sequence[float] = (),
) -> TrainRanking:
    """Frame a target with every train and rank them.

    Parameters
    ----------
    config, target
    hours_to_snr : callable, optional
        Hours of one field by (target, train); by default of the exposure model
        (`nightplan.planning.photons.time_to_snr`).
    angle_deg : float, optional
        The one position angle wanted.
    used_angles, flats_angles : sequence, or mapping of train to sequence
        As of `frame_target`; flats belong to a train, so a mapping is the usual form.

    Raises
    ------
    nightplan.errors.InputError
        `angle_deg` is out of range.
    """
    hours_of = hours_to_snr or _model_hours(config)
    framings = {
        name: frame_target(
            config,
            target,
            name,
            angle_deg=angle_deg,
            used_angles=_of_train(used_angles, name),
            flats_angles=_of_train(flats_angles, name),
        )
        for name in config.train
    }
    hours = {name: hours_of(target, name) for name in config.train}
    wish = framing_for(config, target).train
    return ranked(config, target.name, _extent_arcsec(target), framings, hours, wish)


def ranked(
    config: Config,
    name: str,
    extent_arcsec: float,
    framings: Mapping[str, Framing],
    hours_to_snr: Mapping[str, float],
    wish: str | None = None,
) -> TrainRanking:
    """Rank trains from framings that are known already; one entry a train in each mapping.

    `wish` is the only train that the imager wants for this target.
    """
    optics = {train: train_optics(config, train) for train in framings}
    finest = min(each.image_scale_arcsec_px for each in optics.values())
    whole = {
        train: hours_to_snr[train] * len(framing.panels) for train, framing in framings.items()
    }
    least = min(whole.values())
    fits = []
    for train, framing in framings.items():
        own = optics[train]
        parts = {
            "coverage": framing.coverage**2,
            "margin": _margin_part(framing, config.preferences.margin_arcmin),
            "time": _time_part(whole[train], least, framings, train),
            "detail": (finest / own.image_scale_arcsec_px) ** 0.25,
            "sampling": _sampling_part(own.pixels_per_fwhm),
            "corners": (0.5 + 0.5 * own.corner_illumination) * own.circle_share,
            "wish": 1.0 if wish in (None, train) else 0.0,
        }
        fits.append(
            TrainFit(
                train=train,
                framing=framing,
                optics=own,
                pixels_across=extent_arcsec / own.image_scale_arcsec_px,
                hours_to_snr=hours_to_snr[train],
                hours_all_panels=whole[train],
                parts=parts,
                score=math.prod(parts.values()),
            )
        )
    fits.sort(key=lambda fit: (-fit.parts["wish"], -fit.score))
    if wish is not None:
        return TrainRanking(name, tuple(fits), f"{wish} for {name}: the train that you chose.")
    return TrainRanking(name, tuple(fits), _reason(name, fits))


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


def one_train(rankings: Sequence[TrainRanking], train: str) -> NightTrain:
    """A given train for the whole night, and what each target loses by it."""
    losses = train_losses(rankings, [train] * len(rankings))
    return NightTrain(train, _night_reason(rankings, train, losses), losses)


def train_losses(rankings: Sequence[TrainRanking], trains: Sequence[str]) -> tuple[TargetLoss, ...]:
    """What each target loses by the train that it is shot with."""
    return tuple(_loss(ranking, train) for ranking, train in zip(rankings, trains, strict=True))


def _share(ranking: TrainRanking, train: str) -> float:
    best = ranking.best.score
    return ranking.of(train).score / best if best > 0.0 else 1.0


def _model_hours(config: Config) -> HoursToSnr:
    from nightplan.planning.photons.time_to_snr import time_to_snr

    def hours(target: Target, train: str) -> float:
        return time_to_snr(config, target, train).hours

    return hours


def _of_train(
    angles: Mapping[str, Sequence[float]] | Sequence[float], train: str
) -> Sequence[float]:
    return angles.get(train, ()) if isinstance(angles, Mapping) else angles


def _extent_arcsec(target: Target) -> float:
    hull = shape_of(target).hull
    turns = np.radians(np.arange(0.0, 180.0, 2.0))
    along = hull @ np.stack((np.sin(turns), np.cos(turns)))
    return float(np.ptp(along, axis=0).max()) * ARCSEC_PER_RADIAN


def _margin_part(framing: Framing, wanted_arcmin: float) -> float:
    margin_arcmin = framing.margin_arcmin
    if margin_arcmin >= wanted_arcmin - 1e-3:
        return 1.0
    if margin_arcmin < 0.0:
        return THIN_MARGIN if framing.coverage >= SINGLE_FIELD_COVERAGE else CUT_MARGIN
    return THIN_MARGIN + (1.0 - THIN_MARGIN) * margin_arcmin / wanted_arcmin


def _time_part(hours: float, least: float, framings: Mapping[str, Framing], train: str) -> float:
    if not math.isfinite(least):
        # No light in any train: panels alone tell the trains apart.
        fewest = min(len(framing.panels) for framing in framings.values())
        return float((fewest / len(framings[train].panels)) ** TIME_POWER)
    return float((least / hours) ** TIME_POWER) if math.isfinite(hours) else 0.0


def _sampling_part(pixels_per_fwhm: float) -> float:
    low, high = GOOD_SAMPLING
    return min(1.0, pixels_per_fwhm / low, high / pixels_per_fwhm)


def _reason(name: str, fits: Sequence[TrainFit]) -> str:
    best = fits[0]
    if len(fits) == 1:
        return f"{best.train}, the only train: {_holds(best)}."
    other = fits[1]
    gains = sorted(
        PARTS, key=lambda part: _log_ratio(best.parts[part], other.parts[part]), reverse=True
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


def _loss(ranking: TrainRanking, train: str) -> TargetLoss:
    taken, best = ranking.of(train), ranking.best
    share = 1.0 - _share(ranking, train)
    if taken is best or share < 1e-9:
        return TargetLoss(ranking.target, train, 0.0, f"{ranking.target} loses nothing.")
    if taken.parts["wish"] == 0.0:
        reason = f"{ranking.target} is to be shot with the {best.train}, as you chose."
        return TargetLoss(ranking.target, best.train, share, reason)
    told = {
        part: words
        for part in sorted(PARTS, key=lambda p: -_log_ratio(best.parts[p], taken.parts[p]))
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
    return TargetLoss(ranking.target, best.train, share, f"{reason}.")


def _night_reason(
    rankings: Sequence[TrainRanking], train: str, losses: Sequence[TargetLoss]
) -> str:
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
