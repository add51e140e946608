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
from nightplan.planning.choosing.train_reason import loss_reason, night_reason, ranking_reason
from nightplan.planning.framing.framing import Framing, frame_target
from nightplan.planning.framing.mosaic_or_field import SINGLE_FIELD_COVERAGE
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
    return TrainRanking(name, tuple(fits), ranking_reason(name, fits))


def one_train(rankings: Sequence[TrainRanking], train: str) -> NightTrain:
    """A given train for the whole night, and what each target loses by it."""
    losses = train_losses(rankings, [train] * len(rankings))
    return NightTrain(train, night_reason(rankings, train, losses), losses)


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


def _loss(ranking: TrainRanking, train: str) -> TargetLoss:
    share = 1.0 - _share(ranking, train)
    if ranking.of(train) is ranking.best or share < 1e-9:
        return TargetLoss(ranking.target, train, 0.0, f"{ranking.target} loses nothing.")
    return TargetLoss(ranking.target, ranking.best.train, share, loss_reason(ranking, train, share))
