"""Taking what was shot into the journal: every FITS file under a folder, by its header alone."""

from __future__ import annotations

import datetime
import math
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from nightplan.errors import FileError, InputError, NightplanError
from nightplan.files import reason_of
from nightplan.journal.frame_reader import (
    Frame,
    FrameReader,
    Instructions,
    NoTargetError,
    SkippedError,
    Verdict,
    judged_by_stars,
)
from nightplan.journal.journal import Journal
from nightplan.journal.records import CalibrationFrame, Equivalent, Sub
from nightplan.journal.session import JournalSession
from nightplan.journal.target_match import KnownPlace, TargetMatcher
from nightplan.sky.angles import wrap_axis_deg

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config

ENDINGS = (".fit", ".fits", ".fts", ".fz")
NOT_BY_NAME = "its name does not end as a FITS file's (.fits, .fit, .fts, .fz, also with .gz)"
ONE_ANGLE_DEG = 1.0
"""Lights of an evening that spread less than this were taken at one angle."""

NO_INSTRUCTIONS = Instructions()
Progress = Callable[[int, int], None]
Weigh = Callable[[Sequence[Sub]], Mapping[str, Equivalent]]
"""Equivalent seconds by identity, of those subs that can be weighed."""


@dataclass(frozen=True)
class Collected:
    """What came of a folder; every file is in one of the three."""

    added: tuple[Frame, ...]
    already_known: tuple[Frame, ...]
    skipped: tuple[tuple[str, str], ...]
    """File and reason."""
    judged_again: int = 0
    """Known subs that took the verdict given now."""
    notices: tuple[str, ...] = ()


def fits_files(folder: Path) -> tuple[list[Path], list[tuple[str, str]]]:
    """Files under a folder whose names end as FITS files do; links to folders not followed.

    Returns
    -------
    The files, sorted, and what is left out, with its reason: the folders that cannot be read and
    the files of other names. Hidden files are passed over.

    Raises
    ------
    FileError
        The folder is missing or is not a folder.
    """
    if not folder.is_dir():
        raise FileError(folder, "is not a folder" if folder.exists() else "no such folder")
    found: list[Path] = []
    closed: list[tuple[str, str]] = []
    others: list[Path] = []

    def note(error: OSError) -> None:
        reason = reason_of(error)
        closed.append((str(error.filename), f"the folder cannot be read: {reason}"))

    for place, _, names in os.walk(folder, onerror=note):
        for name in names:
            if _ends_as_fits(name):
                found.append(Path(place) / name)
            elif not name.startswith("."):
                others.append(Path(place) / name)
    return sorted(found), closed + [(str(path), NOT_BY_NAME) for path in sorted(others)]


def collect_folder(
    folder: Path,
    config: Config,
    catalog: Catalog,
    instructions: Instructions = NO_INSTRUCTIONS,
    progress: Progress | None = None,
    weigh: Weigh | None = None,
    only: Sequence[Path] | None = None,
    session: JournalSession | None = None,
) -> Collected:
    """Read a folder and store what is new in the journal beside the configuration, in one step.

    New subs are stored with what `weigh` makes of them. The files are only read. A file that cannot
    be used is reported with its reason. A copy of an exposure, under whatever name, counts once.
    The journal is made if it is missing and there is something to store. With `only` these files
    are read instead of all that the folder holds. A `session` is used and left open. Raises
    FileError (the folder is missing, or the journal cannot be written) and InputError, TargetError
    (an instruction names a train, filter or target that does not exist).
    """
    if session is None:
        with JournalSession(config) as own:
            return collect_folder(folder, config, catalog, instructions, progress, weigh, only, own)
    files, skipped = fits_files(folder) if only is None else (only, [])
    reader = _reader(config, catalog, instructions, session)
    frames: list[Frame] = []
    later: list[Path] = []
    for number, path in enumerate(files):
        if progress is not None:
            progress(number, len(files))
        _read(reader, path, frames, skipped, later)
    # Files that say little belong to what was shot of the same field, named in another file.
    reader.matcher.add_places(reader.seen)
    for path in later:
        _read(reader, path, frames, skipped)
    if not frames:
        return Collected((), (), tuple(skipped))
    notices = reader.notices()
    if not instructions.verdict.given:
        frames, told = judged_by_stars(frames, reader.stars, config.preferences.reject)
        notices += told
    frames = _with_flat_angles(frames, config, session.stored)
    if weigh is not None:
        frames = _weighed(frames, session.stored, weigh)
    stored = _store(session.writing(), frames, skipped, instructions.verdict)
    return replace(stored, notices=notices)


def _read(
    reader: FrameReader,
    path: Path,
    frames: list[Frame],
    skipped: list[tuple[str, str]],
    later: list[Path] | None = None,
) -> None:
    """Read one file into `frames`, or tell why not; `later` takes what only lacks a target."""
    try:
        frames.append(reader.frame(path))
    except NoTargetError as reason:
        if later is None:
            skipped.append((str(path), str(reason)))
        else:
            later.append(path)
    except SkippedError as reason:
        skipped.append((str(path), str(reason)))
    except FileError as error:
        skipped.append((str(path), error.problem))
    except InputError as error:
        skipped.append((str(path), f"{error.key} = {error.value!r}: {error.accepted}"))
    except Exception as error:  # a hostile header must not end the import of the others
        skipped.append((str(path), f"cannot be understood ({type(error).__name__})"))


def _store(
    journal: Journal, frames: Sequence[Frame], skipped: Sequence[tuple[str, str]], verdict: Verdict
) -> Collected:
    fresh = {
        *journal.record_subs([one for one in frames if isinstance(one, Sub)]).added,
        *journal.record_calibration(
            [one for one in frames if isinstance(one, CalibrationFrame)]
        ).added,
    }
    added: list[Frame] = []
    known: list[Frame] = []
    for one in frames:
        if one.identity in fresh:
            fresh.remove(one.identity)
            added.append(one)
        else:
            known.append(one)
    judged = 0
    if verdict.given:
        old = {one.identity for one in known if isinstance(one, Sub)}
        judged = journal.judge_subs(
            old - {one.identity for one in added},
            accepted=verdict.accepted,
            reason=verdict.reason,
            weight=verdict.weight,
            rejected_too=verdict.overrule or not verdict.accepted,
        )
    return Collected(tuple(added), tuple(known), tuple(skipped), judged)


def _reader(
    config: Config, catalog: Catalog, instructions: Instructions, session: JournalSession
) -> FrameReader:
    for key, value, table in (
        ("train", instructions.train, config.train),
        ("filter_name", instructions.filter, config.filter),
    ):
        if value is not None and value not in table:
            raise InputError("library", key, value, f"one of {', '.join(table)}")
    matcher = matcher_for(config, catalog, session.stored)
    if instructions.target is not None:
        instructions = replace(instructions, target=matcher.canonical(instructions.target))
    return FrameReader(config, matcher, instructions)


def _ends_as_fits(name: str) -> bool:
    stem = name.casefold().removesuffix(".gz")
    return stem.endswith(ENDINGS) and not name.startswith("._")


def _with_flat_angles(frames: list[Frame], config: Config, stored: Journal | None) -> list[Frame]:
    """Give flats the camera's angle from the lights of the same evening and train, if it is one."""
    if not any(isinstance(one, CalibrationFrame) and one.kind == "flat" for one in frames):
        return frames
    quarter = 0.0 if config.camera.height_px > config.camera.width_px else 90.0
    lights = [one for one in frames if isinstance(one, Sub)]
    if stored is not None:
        lights += stored.subs()
    angles: dict[tuple[datetime.date, str | None], set[float]] = {}
    for one in lights:
        if one.image_up_angle_deg is not None:
            line = float(wrap_axis_deg(one.image_up_angle_deg + quarter))
            angles.setdefault((one.evening, one.train), set()).add(line)
    done: list[Frame] = []
    for frame in frames:
        if isinstance(frame, CalibrationFrame) and frame.kind == "flat":
            seen = angles.get((frame.evening, frame.train), set())
            if frame.position_angle_deg is None and seen and _spread_deg(seen) < ONE_ANGLE_DEG:
                done.append(replace(frame, position_angle_deg=min(seen)))
                continue
        done.append(frame)
    return done


def _weighed(frames: Sequence[Frame], stored: Journal | None, weigh: Weigh) -> list[Frame]:
    """The frames with the equivalent seconds of those subs that are new."""
    known = set() if stored is None else stored.known_identities()
    seconds = weigh([one for one in frames if isinstance(one, Sub) and one.identity not in known])
    return [
        replace(one, **seconds[one.identity]._asdict()) if one.identity in seconds else one
        for one in frames
    ]


def _spread_deg(lines: set[float]) -> float:
    first = next(iter(lines))
    return max(abs((line - first + 90.0) % 180.0 - 90.0) for line in lines)


def matcher_for(config: Config, catalog: Catalog, journal: Journal | None) -> TargetMatcher:
    """Finds targets by name in a catalogue, by place among the imager's own."""
    return TargetMatcher(catalog, _places(config, catalog, journal), _reach_deg(config))


def _places(config: Config, catalog: Catalog, journal: Journal | None) -> list[KnownPlace]:
    """Framings in the journal, own targets, wishes, goals, compositions and what was shot."""
    places: list[KnownPlace] = []
    shot: list[str] = []
    if journal is not None:
        in_force: dict[tuple[str, str, int], KnownPlace] = {}
        for one in journal.framings():  # newest first
            in_force.setdefault(
                (one.target, one.train, one.panel),
                KnownPlace(
                    one.target,
                    one.panel,
                    one.ra_deg,
                    one.dec_deg,
                    one.train,
                    _field_deg(config, one.train),
                    one.position_angle_deg,
                ),
            )
        places += in_force.values()
        shot = [one.target for one in journal.gathered_table()]
    own = (*config.target, *config.preferences.targets, *config.goal, *config.framing, *shot)
    for name in dict.fromkeys(own):
        try:
            row = catalog.find(name)
        except NightplanError:
            continue
        places.append(
            KnownPlace(
                str(catalog.name[row]), 1, float(catalog.ra_deg[row]), float(catalog.dec_deg[row])
            )
        )
    return places


def _field_deg(config: Config, train: str) -> tuple[float, float] | None:
    """Half the long and half the short side of a train's field; none for a train that is gone."""
    if train not in config.train:
        return None
    focal_mm = config.optics.focal_length_mm * config.train[train].factor
    sides = sorted((config.camera.width_mm, config.camera.height_mm), reverse=True)
    long_side, short_side = (math.degrees(math.atan(side / 2.0 / focal_mm)) for side in sides)
    return long_side, short_side


def _reach_deg(config: Config) -> float:
    """Half a diagonal of the widest train's field."""
    focal_mm = config.optics.focal_length_mm * min(one.factor for one in config.train.values())
    return math.degrees(math.atan(config.camera.diagonal_mm / 2.0 / focal_mm))
