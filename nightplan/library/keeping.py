"""What the imager has the journal keep of a target: its framing, and the hours wanted of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from nightplan.errors import InputError
from nightplan.library.inputs import targets_of, value_in

if TYPE_CHECKING:
    from astropy.units import Quantity

    from nightplan.library.inputs import AnyTarget
    from nightplan.model.config import Config
    from nightplan.planning.framing.framing import Framing


def set_goal(
    config: Config, target: AnyTarget, hours: Mapping[str, Quantity | str | None]
) -> dict[str, Quantity]:
    """Keep in the journal what a target wants of each filter; as `nightplan frame --goal`.

    A goal of the configuration with `hours` or `snr` for the target stands before it.

    Parameters
    ----------
    config : Config
    target : str, SkyCoord, FixedTarget or Target
    hours : mapping of filter to Quantity or None
        Equivalent hours, above 0 to 1000 h; None forgets the filter's goal.

    Returns
    -------
    dict of str to Quantity
        The goals that the journal then keeps of this target, by filter, in hours.

    Raises
    ------
    nightplan.errors.InputError
        A filter is not in the wheel, or hours are out of range.
    nightplan.errors.FileError
        The journal cannot be written.
    nightplan.errors.TargetError
        The name is unknown or ambiguous.
    """
    from astropy import units as u

    (found,) = targets_of(config, [target])
    wanted = {
        name: None if value is None else value_in(name, value, u.hour)
        for name, value in hours.items()
    }
    kept = keep_goals(config, found.name, wanted)
    return {name: value * u.hour for name, value in kept.items()}


def keep_goals(config: Config, target: str, hours: Mapping[str, float | None]) -> dict[str, float]:
    """The same in plain hours for a target's canonical name; returns what is kept of it."""
    from nightplan.journal import Journal

    check_goal_filters(config, hours)
    with Journal.of(config, writable=True) as journal:
        journal.set_goals(target, hours)
        return journal.goals(target).get(target, {})


def check_goal_filters(config: Config, names: Iterable[str]) -> None:
    """Raise InputError for a filter that the wheel does not hold."""
    for name in names:
        if name not in config.filter:
            raise InputError("goal", "filter", name, f"one of {', '.join(config.filter)}")


def keep_framing(config: Config, framing: Framing) -> None:
    """Store every panel; it is the framing in force of its target and train from then on."""
    from nightplan.journal import Journal

    mirrored = config.train[framing.train].mirrored
    with Journal.of(config, writable=True) as journal:
        for number, panel in enumerate(framing.panels, start=1):
            journal.record_framing(
                framing.target,
                number,
                framing.train,
                panel.ra_deg,
                panel.dec_deg,
                panel.position_angle_deg,
                panel.image_up_angle_deg,
                mirrored,
            )
