"""What the journal beside the configuration knows, as far as a plan needs it, read in one go."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from nightplan.planning.returning.earlier_nights import EarlierNights

if TYPE_CHECKING:
    from collections.abc import Sequence

    from nightplan.journal.journal import Journal
    from nightplan.journal.records import CalibrationFrame, Sub
    from nightplan.model.config import Config


@dataclass(frozen=True)
class Remembered:
    """A configuration with the journal's goals and compositions, and what earlier nights left.

    `tonight` are the subs of the evening that was left out of `earlier`, in order of time.
    """

    config: Config
    earlier: EarlierNights = field(default_factory=EarlierNights)
    calibration: Sequence[CalibrationFrame] = ()
    torn_down_utc_mjd: float | None = None
    tonight: Sequence[Sub] = ()


def remembered(config: Config, *, without: datetime.date | None = None) -> Remembered:
    """Read the journal once; without one there is nothing earlier. The file is never created.

    Parameters
    ----------
    without : date, optional
        An evening whose subs are not counted as gathered: a re-plan counts them as shot tonight.
    """
    from nightplan.journal.journal import Journal
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.returning.shot_before import hours_shot
    from nightplan.planning.returning.stored_goals import with_kept

    journal = Journal.of(config)
    if journal is None:
        return Remembered(config)
    with journal:
        goals, composed = journal.goals(), journal.compositions()
        subs, used = journal.subs(), _used_angles(journal)
        other_rig = any(key.split("#")[0] == config.named_rig for key in journal.other_rigs())
        have, torn_down = journal.calibration_frames(), journal.last_tear_down()
    known = with_kept(config, catalog_for(config), goals, composed) if goals or composed else config
    known = _with_darks(known, have)
    before = [sub for sub in subs if sub.evening != without]
    return Remembered(
        known,
        EarlierNights(
            gathered=hours_shot(known, catalog_for(known), before) if before else (),
            used_angles=used,
            flats_angles=_flats_angles(config, have, torn_down),
            other_rig=other_rig,
        ),
        have,
        torn_down,
        [sub for sub in subs if sub.evening == without],
    )


def with_stored_goals(config: Config) -> Config:
    """The configuration with the goals, compositions and dark sets that the journal keeps."""
    return remembered(config).config


def _with_darks(config: Config, have: Sequence[CalibrationFrame]) -> Config:
    from nightplan.planning.calibration.frames import dark_sets

    at_hand = dark_sets(config, have)
    if not at_hand:
        return config
    library = tuple(dict.fromkeys((*config.calibration.dark_library, *at_hand)))
    changed = config.calibration.model_copy(update={"dark_library": library})
    return config.model_copy(update={"calibration": changed})


def _used_angles(journal: Journal) -> dict[tuple[str, str], tuple[float, ...]]:
    pairs = {(framing.target, framing.train) for framing in journal.framings()}
    return {pair: journal.used_angles(*pair) for pair in pairs}


def _flats_angles(
    config: Config, have: Sequence[CalibrationFrame], torn_down_utc_mjd: float | None
) -> dict[str, tuple[float, ...]]:
    from nightplan.planning.calibration.frames import angles_with_flats

    flats = [one for one in have if one.kind == "flat" and one.filter is not None]
    found: dict[str, tuple[float, ...]] = {}
    for train in config.train:
        filters = list(dict.fromkeys(str(one.filter) for one in flats if one.train == train))
        found[train] = angles_with_flats(config, train, filters, have, torn_down_utc_mjd)
    return found
