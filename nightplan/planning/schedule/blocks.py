"""The parts of a schedule: blocks of subs and the events between them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

EventKind = Literal[
    "focus", "filter_change", "slew_centre", "flip", "turn", "flats", "setup", "idle"
]
"""What lies between blocks; the ledger has each of them as a key."""


@dataclass(frozen=True)
class Block:
    """Subs of one task in one go, with their downloads and dithers.

    Times in seconds since the window's start. `after_meridian` is the side of the pier.
    """

    task: int
    pointing: int
    start_s: float
    end_s: float
    count: int
    sub_s: float
    dithers: int
    after_meridian: bool = False
    why: str = field(default="", compare=False)


@dataclass(frozen=True)
class Event:
    """Something between blocks; `pointing` is the one it serves, None for idle time."""

    kind: EventKind
    pointing: int | None
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Schedule:
    """A whole night: blocks and events in order of time, together filling the window."""

    blocks: tuple[Block, ...] = ()
    events: tuple[Event, ...] = ()

    def with_reasons(self, reasons: list[str]) -> Schedule:
        """The same schedule, each block carrying its reason."""
        return replace(
            self,
            blocks=tuple(
                replace(block, why=why) for block, why in zip(self.blocks, reasons, strict=True)
            ),
        )
