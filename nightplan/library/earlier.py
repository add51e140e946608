"""What the journal beside the configuration knows, as far as a plan needs it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.planning.returning.earlier_nights import EarlierNights


def with_stored_goals(config: Config) -> Config:
    """The configuration with the goals that the journal keeps, where it has none of its own."""
    from nightplan.journal.journal import Journal
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.returning.stored_goals import with_goals

    journal = Journal.open(config.folder)
    if journal is None:
        return config
    with journal:
        stored = journal.goals()
    return with_goals(config, catalog_for(config), stored) if stored else config


def earlier_nights(config: Config) -> EarlierNights:
    """Read the journal; without one there is nothing earlier. The file is never created."""
    from nightplan.journal.journal import Journal
    from nightplan.planning.calibration.frames import angles_with_flats
    from nightplan.planning.returning.earlier_nights import EarlierNights, GatheredHours

    journal = Journal.open(config.folder)
    if journal is None:
        return EarlierNights()
    with journal:
        gathered: dict[tuple[str, int, str, str | None], float] = {}
        for sub in journal.subs():
            key = (sub.target, sub.panel, sub.filter, sub.train)
            gathered[key] = gathered.get(key, 0.0) + sub.counted_s / 3600.0
        used: dict[tuple[str, str], tuple[float, ...]] = {}
        for framing in journal.framings():
            name = (framing.target, framing.train)
            used[name] = journal.used_angles(*name)
        have, torn_down = journal.calibration_frames(), journal.last_tear_down()
    flats = [one for one in have if one.kind == "flat" and one.filter is not None]
    flats_angles: dict[str, tuple[float, ...]] = {}
    for train in config.train:
        filters = list(dict.fromkeys(str(one.filter) for one in flats if one.train == train))
        flats_angles[train] = angles_with_flats(config, train, filters, have, torn_down)
    return EarlierNights(
        gathered=tuple(GatheredHours(*key, hours) for key, hours in gathered.items()),
        used_angles=used,
        flats_angles=flats_angles,
    )
