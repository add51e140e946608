"""A composition that the imager asks for: laid into the configuration, kept in the journal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from nightplan.errors import InputError
from nightplan.model.wishes import FramingWish, framing_for

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target

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


def place_from_text(text: str) -> tuple[float, float] | None:
    """Right ascension and declination, deg, of `--centre`; none for the target's own middle.

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
        raise InputError("command line", "--centre", text, PLACE_FORMS) from error
    found = float(place.ra.deg), float(place.dec.deg)
    if not all(abs(value) <= 360.0 for value in found):  # nan too
        raise InputError("command line", "--centre", text, PLACE_FORMS)
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
        raise InputError("command line", "--group", number, accepted)
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
