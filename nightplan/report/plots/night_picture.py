"""What a picture of one night needs, as plain arrays: no planning, no drawing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from nightplan.errors import InputError
from nightplan.report.wording.local_time import utc_mjd

if TYPE_CHECKING:
    from nightplan.model.config import Config

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PictureTarget:
    """One target's way over the sky.

    Attributes
    ----------
    name : str
        As it is labelled.
    altitude_deg : array (time,)
        Altitude, degrees.
    skyline_deg : array (time,)
        Altitude of the horizon profile at the target's azimuth, degrees.
    usable : array of bool (time,), or None
        Where the target keeps every limit; by default above the skyline and the least altitude.
    """

    name: str
    altitude_deg: Array
    skyline_deg: Array
    usable: NDArray[np.bool_] | None = None


@dataclass(frozen=True)
class PictureBlock:
    """Subs of one filter on one target; times are UTC MJD, `sub_s` is seconds."""

    target: str
    filter: str
    role: str
    start_utc_mjd: float
    end_utc_mjd: float
    sub_s: float
    count: int
    panel: int | None = None


@dataclass(frozen=True)
class PictureEvent:
    """Focus, filter change, slew, flip and the like; times are UTC MJD."""

    kind: str
    start_utc_mjd: float
    end_utc_mjd: float
    target: str | None = None


@dataclass(frozen=True, eq=False)
class NightPicture:
    """All that the pictures of one night show.

    Attributes
    ----------
    site : str
        Name of the site.
    evening : datetime.date
        Civil date at the site's noon before the night.
    zone : ZoneInfo
        Time zone of the site.
    utc_mjd : array (time,)
        Rising UTC MJD; the first and the last are the edges of the picture.
    sun_altitude_deg, moon_altitude_deg : array (time,)
        Degrees.
    moon_illuminated_fraction : float
        0 to 1.
    targets : tuple of PictureTarget
    blocks, events : tuples
        What is planned; empty for a bare night.
    window_start_utc_mjd, window_end_utc_mjd : float or None
        The night's window; None where there is none.
    minimum_altitude_deg : float
        The user's least altitude, degrees.

    Raises
    ------
    nightplan.errors.InputError
        An array's length differs from that of `utc_mjd`, or the times do not rise.
    """

    site: str
    evening: dt.date
    zone: ZoneInfo
    utc_mjd: Array
    sun_altitude_deg: Array
    moon_altitude_deg: Array
    moon_illuminated_fraction: float
    targets: tuple[PictureTarget, ...] = ()
    blocks: tuple[PictureBlock, ...] = ()
    events: tuple[PictureEvent, ...] = ()
    window_start_utc_mjd: float | None = None
    window_end_utc_mjd: float | None = None
    minimum_altitude_deg: float = 0.0
    notices: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        shape = self.utc_mjd.shape
        if len(shape) != 1 or shape[0] < 2 or not np.all(np.diff(self.utc_mjd) > 0.0):
            raise InputError("night picture", "utc_mjd", shape, "two or more rising times")
        named = {"sun": self.sun_altitude_deg, "moon": self.moon_altitude_deg}
        for target in self.targets:
            named[target.name] = target.altitude_deg
            named[f"skyline of {target.name}"] = target.skyline_deg
        for name, values in named.items():
            if values.shape != shape:
                raise InputError("night picture", name, values.shape, f"an array of shape {shape}")

    def usable(self, target: PictureTarget) -> NDArray[np.bool_]:
        """Where a target keeps its limits, bool (time,)."""
        if target.usable is not None:
            return target.usable
        above: NDArray[np.bool_] = (target.altitude_deg >= self.minimum_altitude_deg) & (
            target.altitude_deg > target.skyline_deg
        )
        return above

    def blocks_of(self, target: str) -> tuple[PictureBlock, ...]:
        """The blocks of one target, in order of time."""
        return tuple(block for block in self.blocks if block.target == target)

    @property
    def filters(self) -> tuple[tuple[str, str], ...]:
        """Filters with work tonight as (name, role), in the order of the first use."""
        return tuple(dict.fromkeys((block.filter, block.role) for block in self.blocks))


def blocks_and_events(
    plan: Mapping[str, Any], roles: Mapping[str, str]
) -> tuple[tuple[PictureBlock, ...], tuple[PictureEvent, ...]]:
    """Blocks and events of a plan document (as printed by ``plan --json``).

    `roles` gives each filter's role by its name.
    """
    blocks = tuple(
        PictureBlock(
            target=row["target"],
            filter=row["filter"],
            role=roles[row["filter"]],
            start_utc_mjd=utc_mjd(row["start_utc"]),
            end_utc_mjd=utc_mjd(row["end_utc"]),
            sub_s=float(row["sub_s"]),
            count=int(row["count"]),
            panel=row.get("panel"),
        )
        for row in plan.get("blocks", ())
    )
    events = tuple(
        PictureEvent(
            kind=row["kind"],
            start_utc_mjd=utc_mjd(row["start_utc"]),
            end_utc_mjd=utc_mjd(row["end_utc"]),
            target=row.get("target"),
        )
        for row in plan.get("events", ())
    )
    return blocks, events


def roles_of(config: Config) -> dict[str, str]:
    """Role of each filter of a configuration, by the filter's name."""
    return {name: filter_.role for name, filter_ in config.filter.items()}


def runs(mask: Sequence[bool] | NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Stretches of true values as (first index, last index)."""
    padded = np.concatenate(([False], np.asarray(mask, dtype=bool), [False]))
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
