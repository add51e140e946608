"""All that is said of one target's framing: every train, the guider, groups, the night's hours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from nightplan.errors import InputError
from nightplan.planning.choosing.train_choice import TrainFit, TrainRanking, rank_trains
from nightplan.planning.framing.angle_saving import panels_with_an_angle
from nightplan.planning.framing.framing import Framing
from nightplan.planning.framing.groups import Group, find_groups
from nightplan.planning.optics.bolted_train import BoltedTrain, check_train
from nightplan.planning.photons.time_to_snr import TimeToSnr, leading_filter, time_to_snr

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.star_catalog import StarCatalog
    from nightplan.model.target import Target
    from nightplan.planning.framing.guide_star import GuideOutlook
    from nightplan.planning.tonight.night import Night

_GRID_MIN = 5.0


@dataclass(frozen=True)
class FrameAnswer:
    """One target framed.

    Attributes
    ----------
    target, night
    ranking : TrainRanking
        Every train, best first.
    chosen : TrainFit
        The train asked for, or the best.
    times : mapping of str to TimeToSnr
        By train.
    guide : GuideOutlook or None
        None without a guider.
    groups : tuple of Group
        What else fits one field of the chosen train with the target.
    bolted : BoltedTrain
        The chosen train as it is bolted together, checked.
    hours_tonight : float
        Hours on the clock in which the target's leading filter may be used tonight.
    panels_with_an_angle : int or None
        Panels of the chosen train that would do if the target's angle were known; None where it
        is, or where there is none.
    """

    target: Target
    night: Night
    ranking: TrainRanking
    chosen: TrainFit
    times: Mapping[str, TimeToSnr]
    guide: GuideOutlook | None
    groups: tuple[Group, ...]
    bolted: BoltedTrain
    hours_tonight: float
    panels_with_an_angle: int | None = None

    @property
    def framing(self) -> Framing:
        """The framing of the chosen train."""
        return self.chosen.framing

    @property
    def framings(self) -> tuple[Framing, ...]:
        """Framings of all trains, best first."""
        return tuple(fit.framing for fit in self.ranking.fits)

    @property
    def reason(self) -> str:
        """Why this train, and what it holds: two sentences."""
        if self.chosen is self.ranking.best:
            why = self.ranking.reason
        else:
            why = f"{self.chosen.train}, as asked. Left to itself: {self.ranking.reason}"
        why = why[:1].upper() + why[1:]
        return f"{why} {self.framing.reason}"


def frame_answer(
    config: Config,
    night: Night,
    target: Target,
    catalog: Catalog,
    *,
    train: str | None = None,
    angle_deg: float | None = None,
    used_angles: Mapping[str, Sequence[float]] | Sequence[float] = (),
    flats_angles: Mapping[str, Sequence[float]] | Sequence[float] = (),
    stars: StarCatalog | None = None,
) -> FrameAnswer:
    """Frame a target with every train and judge guider, groups and hours of the chosen one.

    Parameters
    ----------
    config, night, target, catalog
    train : str, optional
        The train to take; by default the best.
    angle_deg : float, optional
        The one position angle wanted.
    used_angles, flats_angles
        As of `nightplan.planning.choosing.train_choice.rank_trains`.
    stars : StarCatalog, optional
        Stars for the guider; else the bundled ones and the user's file.

    Raises
    ------
    nightplan.errors.InputError
        The train is not in the configuration, or the angle is out of range.
    nightplan.errors.FileError
        The user's star file cannot be used.
    """
    if train is not None and train not in config.train:
        raise InputError("library", "train", train, f"one of {', '.join(config.train)}")
    times = {name: time_to_snr(config, target, name) for name in config.train}
    ranking = rank_trains(
        config,
        target,
        hours_to_snr=lambda _, name: times[name].hours,
        angle_deg=angle_deg,
        used_angles=used_angles,
        flats_angles=flats_angles,
    )
    chosen = ranking.best if train is None else ranking.of(train)
    guide = None
    if config.guider is not None:
        from nightplan.planning.framing.guide_star import guide_outlook

        guide = guide_outlook(config, chosen.framing, target=target, stars=stars)
    return FrameAnswer(
        target=target,
        night=night,
        ranking=ranking,
        chosen=chosen,
        times=times,
        guide=guide,
        groups=find_groups(config, target, catalog, chosen.train),
        bolted=check_train(config, chosen.train),
        hours_tonight=hours_tonight(config, night, target),
        panels_with_an_angle=panels_with_an_angle(config, target, chosen.train),
    )


def hours_tonight(config: Config, night: Night, target: Target) -> float:
    """Hours on the clock inside the window and all limits of the target's leading filter."""
    from nightplan.planning.tonight.limits import usable_margin_deg
    from nightplan.planning.tonight.visibility import sky_tracks, time_grid, usable_hours

    if night.window_utc_mjd is None:
        return 0.0
    times = time_grid(night, _GRID_MIN)
    tracks = sky_tracks(night, [target.ra_deg], [target.dec_deg], times)
    role = config.filter[config.channel[leading_filter(config, target)].filter].role
    return float(usable_hours(times, usable_margin_deg(config, night, tracks, role))[0])
