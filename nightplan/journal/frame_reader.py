"""One FITS file's header as a sub or a calibration frame."""

from __future__ import annotations

import datetime
import hashlib
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, TypeVar

from nightplan.errors import NightplanError
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
    star_count,
    star_width,
    start_utc_mjd,
)
from nightplan.journal.fits_header import FitsHeader, read_fits_header
from nightplan.journal.records import CalibrationFrame, Sub, check_verdict
from nightplan.journal.target_match import KnownPlace, TargetMatcher, match_filter
from nightplan.sky.times import datetime_from_mjd
from nightplan.sky.wcs_angle import orientation_at, terms_from_cards

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.preferences import RejectSubs

FOCAL_TOLERANCE = 0.03
"""Share by which a header's focal length may differ from a train's."""
PIXEL_TOLERANCE = 0.02
"""Share by which a header's pixels may differ from the camera's."""
MOST_BINNING = 4
_SURE_SECONDS = 1.0

Frame = Sub | CalibrationFrame


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


class SkippedError(Exception):
    """A file that is sound but cannot be used; its text is the reason."""


class NoTargetError(SkippedError):
    """A light whose header does not tell what it was taken of."""


class FrameReader:
    """Turns one file after the other into a sub or a calibration frame."""

    def __init__(self, config: Config, matcher: TargetMatcher, told: Instructions) -> None:
        self.config = config
        self.matcher = matcher
        self.told = told
        self.seen: dict[tuple[str, int], KnownPlace] = {}
        """Where lights that name their target pointed, the first of each target and panel."""
        self.stars: dict[str, StarCards] = {}
        """What cards say of the stars in each light, by its identity."""
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
            raise SkippedError("holds no image")
        if is_stack(cards):
            raise SkippedError("is made of several exposures (a master or a stack)")
        kind = frame_kind(cards)
        if kind is None and self.told.assume_light:
            kind = "light"
        if kind is None:
            text = kind_text(cards)
            raise SkippedError(
                f"IMAGETYP = {text!r}: accepted is light, flat, dark, flat-dark or bias"
                if text
                else "has no IMAGETYP card; --assume-light reads such files as lights"
            )
        start = start_utc_mjd(cards)
        if start is None:
            raise SkippedError(
                f"DATE-OBS = {cards.get('DATE-OBS')!r}: accepted is a date and time in UTC"
            )
        seconds = exposure_s(cards)
        if seconds is None or (seconds <= 0.0 and kind != "bias"):
            value = cards.get("EXPTIME", cards.get("EXPOSURE"))
            raise SkippedError(f"EXPTIME = {value!r}: accepted is seconds above 0 to 86400")
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
            raise SkippedError(
                f"FILTER = {filter_text(header.cards)!r}: accepted is one of "
                f"{', '.join(self.config.filter)}, or what they are called for"
            )
        train = self._train(header)
        target, panel = self._target(header, train)
        size_um = pixel_um(header.cards)
        if size_um is not None and not self._is_own_camera(size_um):
            self._other_pixels_um[size_um] += 1
        verdict = self.told.verdict
        self.stars[identity] = StarCards(star_count(header.cards), star_width(header.cards))
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
            if place is not None:
                self.seen.setdefault((name, panel or 1), KnownPlace(name, panel or 1, *place))
            return name, panel or 1
        near = None if place is None else self.matcher.by_place(*place)
        if near is not None:
            return near
        raise NoTargetError(
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


FEWEST_TO_COMPARE = 5
"""A median of fewer says nothing."""

F = TypeVar("F", bound=Sub | CalibrationFrame)


@dataclass(frozen=True)
class StarCards:
    """Stars counted in a light and their width (pixels or arcsec, one unit a night); none where
    no card says."""

    count: float | None
    width: float | None


def judged_by_stars(
    frames: Sequence[F], stars: Mapping[str, StarCards], limits: RejectSubs
) -> tuple[list[F], tuple[str, ...]]:
    """The frames, those subs rejected that lie beyond the limits; and what to say of it."""
    groups: dict[tuple[object, ...], list[Sub]] = {}
    for one in frames:
        if isinstance(one, Sub) and one.identity in stars:
            key = (one.evening, one.target, one.train, one.filter, one.exposure_s)
            groups.setdefault(key, []).append(one)
    reasons: dict[str, str] = {}
    for members in groups.values():
        reasons |= _spoilt(members, stars, limits)
    if not reasons:
        return list(frames), ()
    judged = [
        replace(one, accepted=False, reason=reasons[one.identity])
        if isinstance(one, Sub) and one.identity in reasons
        else one
        for one in frames
    ]
    count = len(reasons)
    told = (
        f"{count} sub{'' if count == 1 else 's'} rejected by the stars in "
        f"{'it' if count == 1 else 'them'} (count and width against the median of the evening; "
        "preferences.reject). --accept takes a folder's subs back."
    )
    return judged, (told,)


def _spoilt(
    members: Sequence[Sub], stars: Mapping[str, StarCards], limits: RejectSubs
) -> dict[str, str]:
    found: dict[str, str] = {}
    counts = [value for one in members if (value := stars[one.identity].count) is not None]
    widths = [value for one in members if (value := stars[one.identity].width) is not None]
    usual_count = median(counts) if len(counts) >= FEWEST_TO_COMPARE else None
    usual_width = median(widths) if len(widths) >= FEWEST_TO_COMPARE else None
    for one in members:
        own = stars[one.identity]
        if usual_count and own.count is not None and own.count < limits.fewest_stars * usual_count:
            found[one.identity] = f"{own.count:.0f} stars where the median has {usual_count:.0f}"
        elif (
            usual_width and own.width is not None and own.width > limits.widest_stars * usual_width
        ):
            found[one.identity] = (
                f"stars {own.width:.1f} wide where the median has {usual_width:.1f}"
            )
    return found
