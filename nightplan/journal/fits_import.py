"""Taking what was shot into the journal: every FITS file under a folder, by its header alone."""

from __future__ import annotations

import datetime
import hashlib
import math
import os
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from nightplan.errors import FileError, InputError, NightplanError
from nightplan.files import reason_of
from nightplan.journal.filter_match import match_filter
from nightplan.journal.fits_cards import (
    exposure_s,
    filter_text,
    focal_length_mm,
    frame_kind,
    gain_text,
    is_stack,
    kind_text,
    object_text,
    pixel_um,
    pointing_deg,
    sensor_temperature_c,
    start_utc_mjd,
)
from nightplan.journal.fits_header import FitsHeader, read_fits_header
from nightplan.journal.journal import Journal
from nightplan.journal.records import CalibrationFrame, Sub, check_verdict
from nightplan.journal.target_match import KnownPlace, TargetMatcher
from nightplan.sky.angles import wrap_axis_deg
from nightplan.sky.times import datetime_from_mjd
from nightplan.sky.wcs_angle import orientation_at, terms_from_cards

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config

ENDINGS = (".fit", ".fits", ".fts", ".fz")
NOT_BY_NAME = "its name does not end as a FITS file's (.fits, .fit, .fts, .fz, also with .gz)"
FOCAL_TOLERANCE = 0.03
"""Share by which a header's focal length may differ from a train's."""
ONE_ANGLE_DEG = 1.0
"""Lights of an evening that spread less than this were taken at one angle."""
PIXEL_TOLERANCE = 0.02
"""Share by which a header's pixels may differ from the camera's."""
MOST_BINNING = 4
_SURE_SECONDS = 1.0

Frame = Sub | CalibrationFrame
Progress = Callable[[int, int], None]
Weigh = Callable[[Sequence[Sub]], Mapping[str, float]]
"""Equivalent seconds by identity, of those subs that can be weighed."""


@dataclass(frozen=True)
class Verdict:
    """What the imager says of all lights in the folder; `given` tells it from the default.

    A weight alone leaves a rejection of before in force; `overrule` takes it back.
    """

    accepted: bool = True
    reason: str = ""
    weight: float = 1.0
    given: bool = False
    overrule: bool = False

    def __post_init__(self) -> None:
        check_verdict(self.accepted, self.reason, self.weight)


@dataclass(frozen=True)
class Instructions:
    """What the imager knows better than the headers; none leaves it to them.

    `assume_light` reads files without a usable IMAGETYP as lights. `position_angle_deg` is the
    camera's, for flats, which nobody can solve.
    """

    target: str | None = None
    panel: int | None = None
    train: str | None = None
    filter: str | None = None
    verdict: Verdict = field(default_factory=Verdict)
    assume_light: bool = False
    position_angle_deg: float | None = None


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


class _SkippedError(Exception):
    """A file that is sound but cannot be used; its text is the reason."""


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
    instructions: Instructions = Instructions(),
    progress: Progress | None = None,
    weigh: Weigh | None = None,
    only: Sequence[Path] | None = None,
) -> Collected:
    """Read a folder and store what is new in the journal beside the configuration, in one step.

    New subs are stored with what `weigh` makes of them. The files are only read. A file that
    cannot be used is reported with its reason. A copy of an exposure, under whatever name, counts
    once. The journal is made if it is missing and there is something to store. With `only` these
    files are read instead of all that the folder holds.

    Raises
    ------
    FileError
        The folder is missing, or the journal cannot be written.
    InputError, TargetError
        An instruction names a train, filter or target that does not exist.
    """
    files, skipped = fits_files(folder) if only is None else (only, [])
    reader = _reader(config, catalog, instructions)
    frames: list[Frame] = []
    for number, path in enumerate(files):
        if progress is not None:
            progress(number, len(files))
        try:
            frames.append(reader.frame(path))
        except _SkippedError as reason:
            skipped.append((str(path), str(reason)))
        except FileError as error:
            skipped.append((str(path), str(error).removeprefix(f"{path}: ")))
        except InputError as error:
            skipped.append((str(path), f"{error.key} = {error.value!r}: {error.accepted}"))
        except Exception as error:  # a hostile header must not end the import of the others
            skipped.append((str(path), f"cannot be understood ({type(error).__name__})"))
    if not frames:
        return Collected((), (), tuple(skipped))
    frames = _with_flat_angles(frames, config)
    if weigh is not None:
        frames = _weighed(frames, config, weigh)
    stored = _store(config, frames, skipped, instructions.verdict)
    return replace(stored, notices=reader.notices())


def _store(
    config: Config, frames: Sequence[Frame], skipped: Sequence[tuple[str, str]], verdict: Verdict
) -> Collected:
    with Journal.of(config, writable=True) as journal:
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


def _reader(config: Config, catalog: Catalog, instructions: Instructions) -> _FrameReader:
    for key, value, table in (
        ("train", instructions.train, config.train),
        ("filter", instructions.filter, config.filter),
    ):
        if value is not None and value not in table:
            raise InputError("command line", f"--{key}", value, f"one of {', '.join(table)}")
    matcher = TargetMatcher(catalog, _places(config, catalog), _reach_deg(config))
    if instructions.target is not None:
        instructions = replace(instructions, target=matcher.canonical(instructions.target))
    return _FrameReader(config, matcher, instructions)


def _places(config: Config, catalog: Catalog) -> list[KnownPlace]:
    """Where the imager works: framings in the journal, own targets, wishes and goals."""
    places: list[KnownPlace] = []
    journal = Journal.of(config)
    if journal is not None:
        with journal:
            in_force: dict[tuple[str, str, int], KnownPlace] = {}
            for one in journal.framings():  # newest first
                in_force.setdefault(
                    (one.target, one.train, one.panel),
                    KnownPlace(one.target, one.panel, one.ra_deg, one.dec_deg, one.train),
                )
            places += in_force.values()
    for name in dict.fromkeys((*config.target, *config.preferences.targets, *config.goal)):
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


def _reach_deg(config: Config) -> float:
    """Half a diagonal of the widest train's field."""
    focal_mm = config.optics.focal_length_mm * min(one.factor for one in config.train.values())
    return math.degrees(math.atan(config.camera.diagonal_mm / 2.0 / focal_mm))


def _ends_as_fits(name: str) -> bool:
    stem = name.casefold().removesuffix(".gz")
    return stem.endswith(ENDINGS) and not name.startswith("._")


def _with_flat_angles(frames: list[Frame], config: Config) -> list[Frame]:
    """Give flats the camera's angle from the lights of the same evening and train, if it is one."""
    if not any(isinstance(one, CalibrationFrame) and one.kind == "flat" for one in frames):
        return frames
    quarter = 0.0 if config.camera.height_px > config.camera.width_px else 90.0
    lights = [one for one in frames if isinstance(one, Sub)]
    journal = Journal.of(config)
    if journal is not None:
        with journal:
            lights += journal.subs()
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


def _weighed(frames: Sequence[Frame], config: Config, weigh: Weigh) -> list[Frame]:
    """The frames with the equivalent seconds of those subs that are new."""
    known: set[str] = set()
    journal = Journal.of(config)
    if journal is not None:
        with journal:
            known = journal.known_identities()
    seconds = weigh([one for one in frames if isinstance(one, Sub) and one.identity not in known])
    return [
        replace(one, equivalent_s=seconds.get(one.identity)) if isinstance(one, Sub) else one
        for one in frames
    ]


def _spread_deg(lines: set[float]) -> float:
    first = next(iter(lines))
    return max(abs((line - first + 90.0) % 180.0 - 90.0) for line in lines)


class _FrameReader:
    """Turns one file after the other into a sub or a calibration frame."""

    def __init__(self, config: Config, matcher: TargetMatcher, told: Instructions) -> None:
        self.config = config
        self.matcher = matcher
        self.told = told
        self._other_pixels_um: Counter[float] = Counter()

    def notices(self) -> tuple[str, ...]:
        """What the frames read so far say against the configuration, though they count."""
        own_um = self.config.camera.pixel_um
        return tuple(
            f"{count} light{'' if count == 1 else 's'} with pixels of {size_um:g} µm (XPIXSZ): the "
            f"configured camera's are {own_um:g} µm, binned {2 * own_um:g} and so on; were they "
            "taken with another camera? They count all the same."
            for size_um, count in sorted(self._other_pixels_um.items())
        )

    def frame(self, path: Path) -> Frame:
        header = read_fits_header(path)
        cards = header.cards
        if "NAXIS1" not in cards or not header.sample:
            raise _SkippedError("holds no image")
        if is_stack(cards):
            raise _SkippedError("is made of several exposures (a master or a stack)")
        kind = frame_kind(cards)
        if kind is None and self.told.assume_light:
            kind = "light"
        if kind is None:
            text = kind_text(cards)
            raise _SkippedError(
                f"IMAGETYP = {text!r}: accepted is light, flat, dark, flat-dark or bias"
                if text
                else "has no IMAGETYP card; --assume-light reads such files as lights"
            )
        start = start_utc_mjd(cards)
        if start is None:
            raise _SkippedError(
                f"DATE-OBS = {cards.get('DATE-OBS')!r}: accepted is a date and time in UTC"
            )
        seconds = exposure_s(cards)
        if seconds is None or (seconds <= 0.0 and kind != "bias"):
            value = cards.get("EXPTIME", cards.get("EXPOSURE"))
            raise _SkippedError(f"EXPTIME = {value!r}: accepted is seconds above 0 to 86400")
        identity = _identity(kind, header, start, seconds)
        evening = self._evening(start)
        if kind == "light":
            return self._sub(header, identity, evening, start, seconds)
        angle = self.told.position_angle_deg
        return CalibrationFrame(
            identity=identity,
            kind=kind,
            evening=evening,
            start_utc_mjd=start,
            exposure_s=seconds,
            filter=self._filter(header) if kind in ("flat", "flat_dark") else None,
            train=self._train(header) if kind == "flat" else None,
            position_angle_deg=angle if kind == "flat" else None,
            gain=gain_text(cards),
            sensor_temperature_c=sensor_temperature_c(cards),
            file=str(header.path),
        )

    def _sub(
        self,
        header: FitsHeader,
        identity: str,
        evening: datetime.date,
        start: float,
        seconds: float,
    ) -> Sub:
        name = self._filter(header)
        if name is None:
            raise _SkippedError(
                f"FILTER = {filter_text(header.cards)!r}: accepted is one of "
                f"{', '.join(self.config.filter)}, or what they are called for"
            )
        train = self._train(header)
        target, panel = self._target(header, train)
        size_um = pixel_um(header.cards)
        if size_um is not None and not self._is_own_camera(size_um):
            self._other_pixels_um[size_um] += 1
        verdict = self.told.verdict
        return Sub(
            identity=identity,
            target=target,
            filter=name,
            evening=evening,
            start_utc_mjd=start,
            exposure_s=seconds,
            train=train,
            panel=self.told.panel or panel,
            gain=gain_text(header.cards),
            sensor_temperature_c=sensor_temperature_c(header.cards),
            image_up_angle_deg=_image_up(header),
            accepted=verdict.accepted,
            reason=verdict.reason,
            weight=verdict.weight,
            file=str(header.path),
        )

    def _target(self, header: FitsHeader, train: str | None) -> tuple[str, int]:
        """Target as told, by OBJECT or by the place; panel by OBJECT or by the place."""
        text = object_text(header.cards)
        named = self.matcher.by_name(text) if text else None
        place = pointing_deg(header.cards)
        name = self.told.target or (None if named is None else named[0])
        if name is not None:
            panel = None if named is None else named[1]
            if panel is None and place is not None:
                panel = self.matcher.panel_at(name, train, *place)
            return name, panel or 1
        near = None if place is None else self.matcher.by_place(*place)
        if near is not None:
            return near
        raise _SkippedError(
            f"OBJECT = {text!r}: accepted is a target of the catalogue or the configuration, or "
            "a pointing near one of yours; --target NAME says which it is"
        )

    def _filter(self, header: FitsHeader) -> str | None:
        if self.told.filter is not None:
            return self.told.filter
        return match_filter(filter_text(header.cards), self.config.filter)

    def _train(self, header: FitsHeader) -> str | None:
        if self.told.train is not None:
            return self.told.train
        focal_mm = _solved_focal_mm(header) or focal_length_mm(header.cards)
        if focal_mm is None:
            return next(iter(self.config.train)) if len(self.config.train) == 1 else None
        native = self.config.optics.focal_length_mm
        misfit, name = min(
            (abs(focal_mm / (native * train.factor) - 1.0), name)
            for name, train in self.config.train.items()
        )
        return name if misfit <= FOCAL_TOLERANCE else None

    def _is_own_camera(self, size_um: float) -> bool:
        ratio = size_um / self.config.camera.pixel_um
        binning = min(max(round(ratio), 1), MOST_BINNING)
        return abs(ratio / binning - 1.0) <= PIXEL_TOLERANCE

    def _evening(self, start: float) -> datetime.date:
        local = datetime_from_mjd(start).astimezone(self.config.site.zone)
        return local.date() - datetime.timedelta(days=int(local.hour < 12))


def _identity(kind: str, header: FitsHeader, start: float, seconds: float) -> str:
    """Hash that copies of an exposure share, whatever the file is called or packed in.

    One camera cannot open two exposures of a second or more at the same time, so their headers
    tell them apart. Shorter ones (bias) may share a DATE-OBS in whole seconds: there the stored
    bytes join in.
    """
    cards = header.cards
    parts = [
        kind,
        f"{round(start * 86_400_000.0)}",
        f"{round(seconds * 1000.0)}",
        filter_text(cards).casefold(),
        str(cards.get("INSTRUME", "")).casefold(),
    ]
    digest = hashlib.sha256("\x1f".join(parts).encode())
    if seconds < _SURE_SECONDS:
        digest.update(header.sample)
    return digest.hexdigest()[:40]


def _image_up(header: FitsHeader) -> float | None:
    """Image up from a WCS in the header; none without a usable one."""
    try:
        terms = terms_from_cards(header.cards, str(header.path))
        width, height = int(header.cards["NAXIS1"]), int(header.cards["NAXIS2"])
        return orientation_at(terms, ((width + 1) / 2, (height + 1) / 2)).image_up_angle_deg
    except (NightplanError, KeyError, ValueError):
        return None


def _solved_focal_mm(header: FitsHeader) -> float | None:
    """Focal length from a plate solution's scale and the pixel's size."""
    size_um = pixel_um(header.cards)
    if size_um is None:
        return None
    try:
        terms = terms_from_cards(header.cards, str(header.path))
        scale = orientation_at(terms, terms.crpix).scale_arcsec_px
    except NightplanError:
        return None
    return size_um * 1e-3 / math.radians(scale / 3600.0) if scale > 0.0 else None
