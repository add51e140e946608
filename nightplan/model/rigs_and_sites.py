"""Other rigs and sites of the same imager in one file, each given by what is different."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import Field

from nightplan.errors import InputError
from nightplan.model.camera import Calibration, Camera
from nightplan.model.equipment import Focuser, Mount, Power, Rotator
from nightplan.model.filters import Filter, FilterWheel, fitting
from nightplan.model.guider import Guider
from nightplan.model.optical_train import MOST_TRAINS, Optics, Train
from nightplan.model.section import Listed, Section
from nightplan.model.site import HorizonProfile, Site

if TYPE_CHECKING:
    from nightplan.model.config import Config

MAIN = "main"
"""Name of the rig, and of the site, whose tables stand at the top of the file."""


class OtherRig(Section):
    """Another rig: the tables that it has instead of those at the top of the file.

    A table given here stands whole in the place of the one above; what is not given is shared
    (the camera that goes from one telescope to the other, say). `without` names what the rig at
    the top has and this one has not.
    """

    without: Annotated[tuple[Literal["rotator", "guider", "power"], ...], Listed] = ()
    optics: Optics | None = None
    train: Annotated[dict[str, Train], Field(min_length=1, max_length=MOST_TRAINS)] | None = None
    camera: Camera | None = None
    wheel: FilterWheel | None = None
    filter: Annotated[dict[str, Filter], Field(min_length=1)] | None = None
    mount: Mount | None = None
    rotator: Rotator | None = None
    guider: Guider | None = None
    focuser: Focuser | None = None
    power: Power | None = None
    calibration: Calibration | None = None


def with_rig(config: Config, name: str | None) -> Config:
    """The configuration with the tables of one of its rigs; by default `preferences.rig`.

    Goals, recipes and compositions keep what this rig can do: other filters and trains are left
    out. Raises InputError (there is no such rig) and KeyedValueError (its tables do not go
    together).
    """
    if not config.other_rig and name in (None, MAIN):
        return config
    name = config.preferences.rig if name is None else name
    if name != MAIN and name not in config.other_rig:
        accepted = f"one of {', '.join((MAIN, *config.other_rig))}"
        raise InputError("library", "rig", name, accepted)
    tables: dict[str, Any] = {}
    if name != MAIN:
        rig = config.other_rig[name]
        given = {key: getattr(rig, key) for key in OtherRig.model_fields if key != "without"}
        tables = {key: value for key, value in given.items() if value is not None}
        tables |= dict.fromkeys(rig.without)
    chosen = fitting(config.model_copy(update=tables))
    chosen._named_rig = "" if name == MAIN else name
    chosen.check_together()
    return chosen


class OtherSite(Site):
    """Another site, with the keys of `[site]` and a horizon of its own; the table's name is the
    site's where `name` is not given."""

    name: str = ""
    horizon: HorizonProfile = HorizonProfile()


def with_site(config: Config, name: str | None) -> Config:
    """The configuration at one of its sites; by default `preferences.site`.

    Raises InputError (there is no such site).
    """
    name = config.preferences.site if name is None else name
    first, skyline = config.first_site
    if name in (MAIN, first.name):
        return config.model_copy(update={"site": first, "horizon": skyline})
    for key, other in config.other_site.items():
        if name in (key, other.name):
            fields = {field: getattr(other, field) for field in Site.model_fields}
            site = Site.model_construct(**{**fields, "name": other.name or key})
            there = config.model_copy(update={"site": site, "horizon": other.horizon})
            there._first_site = first, skyline
            return there
    accepted = f"one of {', '.join(sites_of(config))}"
    raise InputError("library", "site", name, accepted)


def sites_of(config: Config) -> list[str]:
    """Names that `--site` takes, the file's first site first."""
    return [MAIN, *config.other_site]


def at_all_sites(config: Config) -> list[Config]:
    """The configuration at each site of its file, the first one first."""
    return [with_site(config, name) for name in sites_of(config)]
