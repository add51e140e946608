"""What the journal takes and gives: framings, subs, calibration frames, rotator solutions.

The journal itself fills in `rig`: what the rows of the rig in use are stored under.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

from nightplan.errors import InputError

CalibrationKind = Literal["flat", "dark", "flat_dark", "bias"]
CALIBRATION_KINDS: tuple[CalibrationKind, ...] = ("flat", "dark", "flat_dark", "bias")


@dataclass(frozen=True)
class Framing:
    """One panel as it was framed; angles as in the conventions, ICRS at the panel's centre."""

    target: str
    panel: int
    train: str
    ra_deg: float
    dec_deg: float
    position_angle_deg: float
    image_up_angle_deg: float
    mirrored: bool
    recorded_utc: str = ""
    rig: str = ""

    def __post_init__(self) -> None:
        _text("framing", "target", self.target)
        _text("framing", "train", self.train)
        _panel("framing", self.panel)
        _number("framing", "ra_deg", self.ra_deg, 0.0, 360.0, open_end=True)
        _number("framing", "dec_deg", self.dec_deg, -90.0, 90.0)
        _number("framing", "position_angle_deg", self.position_angle_deg, 0.0, 180.0, open_end=True)
        _number("framing", "image_up_angle_deg", self.image_up_angle_deg, 0.0, 360.0, open_end=True)


class Equivalent(NamedTuple):
    """What a clear sky made of a sub: seconds at this site's moonless zenith, and the same by
    channel where its filter has several; see `Sub`."""

    equivalent_s: float
    channel_s: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class Sub:
    """One light sub-exposure.

    Attributes
    ----------
    identity : str
        Equal for every copy of the same exposure, whatever its file's name.
    evening : datetime.date
        Civil date at the site's noon before the night.
    start_utc_mjd : float
        UTC as MJD when the shutter opened.
    accepted, reason : bool, str
        Only accepted subs count; one that is not has a reason.
    weight : float
        From 0 to 1: how much of a clear sky's exposure it is worth (haze, thin cloud).
    equivalent_s : float or None
        Seconds at this site's moonless zenith that a clear sky would have made of it; the
        exposure stands in where it was not computed. What counts is weight × this.
    channel_s : tuple of (str, float)
        The same for each channel of a filter that has several; `equivalent_s` is their mean.
    """

    identity: str
    target: str
    filter: str
    evening: datetime.date
    start_utc_mjd: float
    exposure_s: float
    train: str | None = None
    panel: int = 1
    gain: str | None = None
    sensor_temperature_c: float | None = None
    image_up_angle_deg: float | None = None
    accepted: bool = True
    reason: str = ""
    weight: float = 1.0
    equivalent_s: float | None = None
    file: str = ""
    rig: str = ""
    channel_s: tuple[tuple[str, float], ...] = ()

    def __post_init__(self) -> None:
        for key in ("identity", "target", "filter"):
            _text("sub", key, getattr(self, key))
        for name, seconds in self.channel_s:
            _number("sub", f"channel_s of {name}", seconds, 0.0, 864_000.0)
        _panel("sub", self.panel)
        _number("sub", "start_utc_mjd", self.start_utc_mjd, 15_000.0, 100_000.0)
        _number("sub", "exposure_s", self.exposure_s, 0.0, 86_400.0, open_start=True)
        if self.equivalent_s is not None:
            _number("sub", "equivalent_s", self.equivalent_s, 0.0, 864_000.0)
        check_verdict(self.accepted, self.reason, self.weight)

    @property
    def counted_s(self) -> float:
        """Seconds that count toward the goal."""
        if not self.accepted:
            return 0.0
        return self.weight * (self.exposure_s if self.equivalent_s is None else self.equivalent_s)

    def counted_by(self, channels: Sequence[str]) -> dict[str, float]:
        """Seconds that count toward the goals of some channels of its filter."""
        known = dict(self.channel_s)
        weight = self.weight if self.accepted else 0.0
        return {
            name: weight * known[name] if name in known else self.counted_s for name in channels
        }

    @property
    def counted_open_s(self) -> float:
        """The same whatever the sky: what counts of a bright core's subs."""
        return self.weight * self.exposure_s if self.accepted else 0.0


@dataclass(frozen=True)
class CalibrationFrame:
    """One flat, dark, flat-dark or bias."""

    identity: str
    kind: CalibrationKind
    evening: datetime.date
    start_utc_mjd: float
    exposure_s: float
    filter: str | None = None
    train: str | None = None
    position_angle_deg: float | None = None
    gain: str | None = None
    sensor_temperature_c: float | None = None
    file: str = ""
    rig: str = ""

    def __post_init__(self) -> None:
        _text("calibration frame", "identity", self.identity)
        if self.kind not in CALIBRATION_KINDS:
            accepted = "one of " + ", ".join(CALIBRATION_KINDS)
            raise InputError("calibration frame", "kind", self.kind, accepted)
        _number("calibration frame", "start_utc_mjd", self.start_utc_mjd, 15_000.0, 100_000.0)
        _number("calibration frame", "exposure_s", self.exposure_s, 0.0, 86_400.0)
        if self.position_angle_deg is not None:
            _number(
                "calibration frame",
                "position_angle_deg",
                self.position_angle_deg,
                0.0,
                180.0,
                open_end=True,
            )


@dataclass(frozen=True)
class RotatorSolution:
    """A plate solution with the rotator's reading at that moment.

    `image_up_angle_deg` is none where only the line of the long side was given.
    """

    evening: datetime.date
    train: str
    reading_deg: float
    position_angle_deg: float
    image_up_angle_deg: float | None
    mirrored: bool
    pier: str | None = None
    recorded_utc: str = ""
    rig: str = ""

    def __post_init__(self) -> None:
        _text("rotator solution", "train", self.train)
        _number("rotator solution", "reading_deg", self.reading_deg, -1440.0, 1440.0)
        _number(
            "rotator solution",
            "position_angle_deg",
            self.position_angle_deg,
            0.0,
            180.0,
            open_end=True,
        )
        if self.pier not in (None, "east", "west"):
            raise InputError("rotator solution", "pier", self.pier, "east, west or none")


@dataclass(frozen=True)
class Gathered:
    """What the journal holds of one target, filter and train, short sets apart."""

    target: str
    filter: str
    train: str | None
    accepted_subs: int
    rejected_subs: int
    clock_hours: float
    """Shutter open in accepted subs."""
    hours: float
    """What counts: weighted, in equivalent hours where they are known; of a short set in hours."""
    short: bool = False


@dataclass(frozen=True)
class Recorded:
    """Identities that were new, and those that the journal knew already."""

    added: tuple[str, ...]
    already_known: tuple[str, ...]


def check_verdict(accepted: bool, reason: str, weight: float) -> None:
    """Raise `InputError` unless a rejected sub has a reason and the weight is a share."""
    _number("sub", "weight", weight, 0.0, 1.0)
    if not accepted and not reason.strip():
        raise InputError("sub", "reason", reason, "a reason, as the sub is not accepted")


def _text(owner: str, key: str, value: Any) -> None:
    if not isinstance(value, str) or not value.strip():
        raise InputError(owner, key, value, "text that is not empty")


def _panel(owner: str, value: Any) -> None:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise InputError(owner, "panel", value, "a whole number from 1")


def _number(
    owner: str,
    key: str,
    value: Any,
    low: float,
    high: float,
    *,
    open_start: bool = False,
    open_end: bool = False,
) -> None:
    good = isinstance(value, (int, float)) and math.isfinite(value) and low <= value <= high
    if good and not (open_start and value == low) and not (open_end and value == high):
        return
    words = f"a number {'above' if open_start else 'from'} {low:g}"
    raise InputError(owner, key, value, f"{words} to {'below ' if open_end else ''}{high:g}")


def gathered_sums(subs: Iterable[Sub], is_short: Callable[[Sub], bool]) -> list[Gathered]:
    """Sums of subs by target, filter and train, in this order; a train not known comes first, and
    short sets behind the filter's normal subs."""
    groups: dict[tuple[str, str, str | None, bool], list[Sub]] = {}
    for sub in sorted(subs, key=lambda sub: (sub.target, sub.filter, sub.train or "")):
        groups.setdefault((sub.target, sub.filter, sub.train, is_short(sub)), []).append(sub)
    return [
        Gathered(
            *key[:3],
            accepted_subs=sum(sub.accepted for sub in members),
            rejected_subs=sum(not sub.accepted for sub in members),
            clock_hours=sum(sub.exposure_s for sub in members if sub.accepted) / 3600.0,
            hours=sum(s.counted_open_s if key[3] else s.counted_s for s in members) / 3600.0,
            short=key[3],
        )
        for key, members in sorted(
            groups.items(), key=lambda item: (*item[0][:2], item[0][2] or "", item[0][3])
        )
    ]
