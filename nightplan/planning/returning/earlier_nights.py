"""What earlier nights left behind, as far as a plan needs it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from nightplan.model.wishes import goal_for

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target


@dataclass(frozen=True)
class GatheredHours:
    """Equivalent hours that count, of one target's panel (None: each has them), filter and train
    (None: not known).

    `short` are those of a short set, shutter time then: a bright core does not mind the sky.
    """

    target: str
    panel: int | None
    filter: str
    train: str | None
    hours: float
    short: bool = False


@dataclass(frozen=True)
class EarlierNights:
    """Hours gathered, camera angles used, and angles whose flats are still good.

    Attributes
    ----------
    gathered : tuple of GatheredHours
    used_angles : mapping of (target, train) to tuple of float
        Position angles, deg, newest first.
    flats_angles : mapping of train to tuple of float
        Position angles whose flats still hold.
    other_rig : bool
        Whether the journal also holds rows of a rig of the same name that sees another field.
    """

    gathered: tuple[GatheredHours, ...] = ()
    used_angles: Mapping[tuple[str, str], tuple[float, ...]] = field(default_factory=dict)
    flats_angles: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    other_rig: bool = False

    def gathered_h(
        self, target: str, panel: int, filter_name: str, train: str, short: bool = False
    ) -> float:
        """Hours of one panel and filter, or of its short set; those of a train that is not known
        count too."""
        return sum(
            row.hours
            for row in self.gathered
            if row.target == target
            and row.panel in (None, panel)
            and row.filter == filter_name
            and row.train in (None, train)
            and row.short == short
        )

    def begun_train(self, target: str, trains: Iterable[str]) -> str | None:
        """The train with most of a target's hours; None where none of `trains` has any."""
        hours = dict.fromkeys(trains, 0.0)
        for row in self.gathered:
            if row.target == target and row.train in hours:
                hours[row.train] += row.hours
        most = max(hours, key=lambda train: hours[train], default=None)
        return most if most is not None and hours[most] > 0.0 else None

    def by_filter(self) -> dict[str, dict[str, float]]:
        """Hours by target and filter, over panels and trains; short sets are left out."""
        table: dict[str, dict[str, float]] = {}
        for row in (row for row in self.gathered if not row.short):
            own = table.setdefault(row.target, {})
            own[row.filter] = own.get(row.filter, 0.0) + row.hours
        return table


def with_configured(
    config: Config, earlier: EarlierNights, targets: Iterable[Target]
) -> EarlierNights:
    """Add the hours that tonight's goals name as gathered; like the goal's hours they are those
    of each panel."""
    goals = [(target.name, goal_for(config, target)) for target in targets]
    extra = (
        GatheredHours(name, None, filter_name, None, hours)
        for name, goal in goals
        if goal is not None
        for filter_name, hours in goal.gathered_hours.items()
    )
    return replace(earlier, gathered=(*earlier.gathered, *extra))
