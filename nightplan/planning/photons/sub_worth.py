"""Equivalent seconds of subs that were shot: what the sky of that moment made of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from nightplan.errors import NightplanError
from nightplan.files import read_text
from nightplan.journal.fits_import import Collected, Instructions, Progress, collect_folder
from nightplan.journal.journal import Journal
from nightplan.journal.records import Equivalent, Gathered, Sub
from nightplan.journal.session import JournalSession
from nightplan.journal.ticks import read_ticks, record_ticks, replace_ticks
from nightplan.planning.photons.filter_budget import site_sky
from nightplan.planning.photons.photon_budget import photon_budget
from nightplan.planning.photons.short_set import short_subs
from nightplan.planning.tonight.visibility import sky_tracks

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config

LEAST_ALTITUDE_DEG = 5.0
HIGHEST_SUN_DEG = -6.0


def equivalent_seconds(
    config: Config, catalog: Catalog, subs: Sequence[Sub]
) -> tuple[dict[str, Equivalent], list[str]]:
    """Seconds at the site's moonless zenith that a clear sky made of each sub, and notices.

    Worth at the middle of the exposure × exposure, worth as of `nightplan exposure`. A sub gets
    none (its exposure stands in) where its DATE-OBS cannot be right, with the target near or
    below the horizon or the sun up, and where target or filter are not known any more.

    Parameters
    ----------
    subs : sequence of Sub
        Those of one target, train and evening are worked out together.
    """
    groups: dict[tuple[str, str | None, object], list[Sub]] = {}
    for sub in subs:
        if sub.filter in config.filter and (sub.train is None or sub.train in config.train):
            groups.setdefault((sub.target, sub.train, sub.evening), []).append(sub)
    sky = site_sky(config)
    found: dict[str, Equivalent] = {}
    notices: list[str] = []
    columns: dict[str, dict[str, int]] = {}
    for column, (name, channel) in enumerate(config.channel.items()):
        columns.setdefault(channel.filter, {})[name] = column
    for (name, train, evening), members in groups.items():
        try:
            target = catalog.target(catalog.find(name))
        except NightplanError:
            continue
        times = np.array([one.start_utc_mjd + one.exposure_s / 172_800.0 for one in members])
        tracks = sky_tracks(config.site, [target.ra_deg], [target.dec_deg], times)
        budget = photon_budget(config, train or next(iter(config.train)), [target], tracks, sky)
        sound = tracks.altitude_deg[0] >= LEAST_ALTITUDE_DEG
        sound &= tracks.sun_altitude_deg <= HIGHEST_SUN_DEG
        for i, one in enumerate(members):
            if sound[i]:
                seconds = {
                    channel: float(budget.worth[0, column, i]) * one.exposure_s
                    for channel, column in columns[one.filter].items()
                }
                found[one.identity] = Equivalent(
                    sum(seconds.values()) / len(seconds),
                    tuple(seconds.items()) if len(seconds) > 1 else (),
                )
        if not sound.all():
            count = int((~sound).sum())
            notices.append(
                f"{name}, evening of {evening}: DATE-OBS of {count} sub{'' if count == 1 else 's'} "
                "has the target down or the sun up; is the computer's clock on UTC? Such subs "
                "count in full."
            )
    return found, notices


def record_equivalents(config: Config, catalog: Catalog, journal: Journal) -> list[str]:
    """Work out and store the equivalent of every sub that has none yet; returns notices.

    Raises
    ------
    FileError
        The journal cannot be written.
    """
    found, notices = equivalent_seconds(config, catalog, journal.subs(without_equivalent=True))
    if found:
        journal.set_equivalents(found)
    return notices


def gathered_sets(config: Config, catalog: Catalog, journal: Journal) -> list[Gathered]:
    """What the journal holds by target, filter and train, short sets apart."""
    return journal.gathered_table(short_subs(config, catalog, journal.subs()))


def collect_and_weigh(
    config: Config,
    catalog: Catalog,
    folder: Path,
    told: Instructions,
    progress: Progress | None = None,
    only: Sequence[Path] | None = None,
    torn_down: bool = False,
) -> tuple[Collected, list[Gathered], list[str]]:
    """Take a folder, or of it `only` some files, into the journal and weigh its subs; note that
    the camera has come off since, if so.

    Returns
    -------
    What came of the folder, what the journal then holds, and notices.

    Raises
    ------
    FileError, InputError, TargetError
        As `nightplan.journal.fits_import.collect_folder`.
    """

    config = config.with_all_filters

    def weigh(subs: Sequence[Sub]) -> dict[str, Equivalent]:
        return equivalent_seconds(config, catalog, subs)[0]

    # Weighed before they are stored: a reader, or a pulled plug, never finds them counted in full.
    with JournalSession(config) as session:
        collected = collect_folder(folder, config, catalog, told, progress, weigh, only, session)
        notices = list(collected.notices)
        if collected.added or collected.already_known:
            journal = session.writing()
            notices += record_equivalents(config, catalog, journal)
            gone = replace_ticks(journal, collected.added)
            if gone:
                notices.append(f"{gone} ticked subs gave way to their files")
        if torn_down:
            session.writing().record_tear_down()
        stored = session.stored
        table = [] if stored is None else gathered_sets(config, catalog, stored)
        return collected, table, notices


def collect_ticks(
    config: Config, catalog: Catalog, source: Path
) -> tuple[Collected, list[Gathered], list[str]]:
    """Take a file of ticks into the journal, as far as no files stand for its subs.

    Returns and raises as `collect_and_weigh`, and raises as
    `nightplan.journal.ticks.read_ticks`.
    """
    subs = read_ticks(str(source), read_text(source), config, catalog)
    if not subs:
        return Collected((), (), ()), [], ["the file of ticks holds no sub"]
    weighed, notices = equivalent_seconds(config, catalog, subs)
    subs = [
        replace(sub, **weighed[sub.identity]._asdict()) if sub.identity in weighed else sub
        for sub in subs
    ]
    with Journal.of(config, writable=True) as journal:
        added, left = record_ticks(journal, subs)
        table = gathered_sets(config, catalog, journal)
    return Collected(tuple(added), tuple(left), ()), table, notices
