"""What the imager asks of a target (composition, framing, goals) and has the journal keep."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from nightplan.errors import InputError
from nightplan.library.inputs import targets_of, value_in
from nightplan.library.outputs import quantity
from nightplan.model.wishes import FramingWish, framing_for

if TYPE_CHECKING:
    from astropy.coordinates import SkyCoord
    from astropy.units import Quantity

    from nightplan.library.inputs import AnyTarget
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target
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

    (found,) = targets_of(config, [target])
    wanted = {
        name: None if value is None else value_in(name, value, "h") for name, value in hours.items()
    }
    kept = keep_goals(config, found.name, wanted)
    return {name: quantity(value, "h") for name, value in kept.items()}


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
        if name not in config.filter and name not in config.channel:
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


OWN_MIDDLE = "target"
PLACE_FORMS = (
    "RA,DEC in ICRS degrees such as 10.68,41.27, or in hours and degrees such as "
    f"00:42:44,+41:16:09, or the word {OWN_MIDDLE}"
)


@dataclass(frozen=True)
class Composition:
    """What was asked for; nothing given leaves the configuration and the journal to decide.

    `own_middle` takes back a wish for another centre. `group` counts the groups that a framing of
    the target proposes, from 1.
    """

    centre_deg: tuple[float, float] | None = None
    own_middle: bool = False
    panels: int | None = None
    group: int | None = None

    @property
    def given(self) -> bool:
        """Whether anything was asked for."""
        return self != Composition()


def asked_composition(
    centre: SkyCoord | str | None, panels: int | None, group: int | None
) -> Composition:
    """What was asked for. Raises InputError for a text that is no place, or a group beside it."""
    if group is not None and (centre is not None or panels is not None):
        accepted = "none beside a centre or panels: it brings its own"
        raise InputError("library", "group", group, accepted)
    if not isinstance(centre, str):
        place = None if centre is None else (float(centre.icrs.ra.deg), float(centre.icrs.dec.deg))
        return Composition(place, panels=panels, group=group)
    place = place_from_text(centre)
    return Composition(place, own_middle=place is None, panels=panels, group=group)


def place_from_text(text: str) -> tuple[float, float] | None:
    """Right ascension and declination, deg, of a centre as typed; none for the target's own middle.

    Raises
    ------
    InputError
        The text is no place.
    """
    if text == OWN_MIDDLE:
        return None
    from astropy import units as u
    from astropy.coordinates import SkyCoord

    ra, _, dec = text.partition(",")
    unit = u.hourangle if ":" in ra or "h" in ra else u.deg
    try:
        place = SkyCoord(ra.strip(), dec.strip(), unit=(unit, u.deg))
    except (ValueError, TypeError) as error:
        raise InputError("library", "centre", text, PLACE_FORMS) from error
    found = float(place.ra.deg), float(place.dec.deg)
    if not all(abs(value) <= 360.0 for value in found):  # nan too
        raise InputError("library", "centre", text, PLACE_FORMS)
    return found


def composed(
    config: Config,
    target: Target,
    catalog: Catalog,
    asked: Composition,
    *,
    angle_deg: float | None = None,
    train: str | None = None,
) -> Config:
    """The configuration with the composition asked for as the target's wish.

    Raises
    ------
    InputError
        The number of panels is out of range, or there is no such group.
    """
    if not asked.given:
        return config
    before = framing_for(config, target)
    others = {name: one for name, one in config.framing.items() if one is not before}
    plain = config.model_copy(update={"framing": others})
    changes: dict[str, object] = {}
    if asked.group is not None:
        neighbours = _group(plain, target, catalog, asked.group, train, angle_deg)
        before, changes["with_targets"] = FramingWish(), neighbours
    elif asked.own_middle:
        before = FramingWish()
    elif asked.centre_deg is not None:
        changes.update(centre_deg=asked.centre_deg, offset_arcmin=None)
    if asked.panels is not None:
        changes["panels"] = asked.panels
    if angle_deg is not None:
        changes["position_angle_deg"] = angle_deg
    wish = before.model_copy(update=changes)
    return config.model_copy(update={"framing": {**others, target.name: wish}})


def _group(
    config: Config,
    target: Target,
    catalog: Catalog,
    number: int,
    train: str | None,
    angle_deg: float | None,
) -> tuple[str, ...]:
    """Names of the neighbours in one of the groups that the train's field holds."""
    from nightplan.planning.choosing.train_choice import rank_trains
    from nightplan.planning.framing.groups import find_groups

    if train is None:
        train = rank_trains(config, target, angle_deg=angle_deg).best.train
    groups = find_groups(config, target, catalog, train)
    if not 1 <= number <= len(groups):
        accepted = f"1 to {len(groups)}" if groups else f"none: the {train} holds no group with it"
        raise InputError("library", "group", number, accepted)
    return tuple(one.name for one in groups[number - 1].targets[1:])


def keep_composition(config: Config, target: Target, asked: Composition) -> None:
    """Keep the target's wish in the journal, or forget it where it is back at its own middle.

    Raises
    ------
    nightplan.errors.FileError
        The journal cannot be written.
    """
    from nightplan.journal import Journal

    wish = framing_for(config, target)
    forget = asked.own_middle and asked.panels is None
    with Journal.of(config, writable=True) as journal:
        journal.set_composition(target.name, None if forget else wish)
