"""What a campaign's calendar shows: its nights, their targets, and when each is done."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from nightplan.errors import InputError


@dataclass(frozen=True)
class CalendarNight:
    """What a night serves (None: nothing), for how long, and how much of the moon is lit.

    A night that serves several targets has one of these for each.
    """

    date: dt.date
    target: str | None
    train: str | None
    hours: float
    moon_illuminated_fraction: float | None = None


@dataclass(frozen=True)
class CalendarEnd:
    """When a target is expected to reach its goal (None: not in these nights), and how likely."""

    target: str
    expected_date: dt.date | None
    chance: float


@dataclass(frozen=True)
class CalendarPicture:
    """What the calendar shows. Raises InputError (there is no night)."""

    nights: tuple[CalendarNight, ...]
    finished: tuple[CalendarEnd, ...] = ()

    def __post_init__(self) -> None:
        if not self.nights:
            raise InputError("calendar", "nights", 0, "one night or more")

    @property
    def targets(self) -> tuple[str, ...]:
        """Targets in the order of their first night, then those that only end."""
        served = [night.target for night in self.nights if night.target is not None]
        return tuple(dict.fromkeys([*served, *(end.target for end in self.finished)]))

    @property
    def by_date(self) -> dict[dt.date, tuple[CalendarNight, ...]]:
        """The nights of each date, in order of the dates."""
        found: dict[dt.date, tuple[CalendarNight, ...]] = {}
        for night in sorted(self.nights, key=lambda one: one.date):
            found[night.date] = (*found.get(night.date, ()), night)
        return found


def calendar_picture(
    document: Mapping[str, Any], moon: Mapping[str, float] | None = None
) -> CalendarPicture:
    """The picture of a campaign document (as printed by ``campaign --json``).

    `moon` gives the illuminated fraction by evening date where the rows do not carry it. Evenings
    that the document names beside its nights are shown too.
    """
    lit = moon or {}
    served = {row["date"] for row in document["nights"]}
    idle = [
        CalendarNight(
            dt.date.fromisoformat(row["date"]), None, None, 0.0, row["moon_illuminated_fraction"]
        )
        for row in document.get("evenings", ())
        if row["date"] not in served
    ]
    return CalendarPicture(
        nights=(
            *idle,
            *(
                CalendarNight(
                    date=dt.date.fromisoformat(row["date"]),
                    target=row.get("target"),
                    train=row.get("train"),
                    hours=float(row.get("hours") or 0.0),
                    moon_illuminated_fraction=row.get(
                        "moon_illuminated_fraction", lit.get(row["date"])
                    ),
                )
                for row in document["nights"]
            ),
        ),
        finished=tuple(
            CalendarEnd(
                target=row["target"],
                expected_date=None
                if row.get("expected_date") is None
                else dt.date.fromisoformat(row["expected_date"]),
                chance=float(row["chance"]),
            )
            for row in document.get("finished", ())
        ),
    )
