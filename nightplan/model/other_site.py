"""Other places that the imager drives to, in one file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.errors import InputError
from nightplan.model.horizon_profile import HorizonProfile
from nightplan.model.other_rig import MAIN
from nightplan.model.site import Site

if TYPE_CHECKING:
    from nightplan.model.config import Config


class OtherSite(Site):
    """Another site, with the keys of `[site]` and a horizon of its own; the table's name is the
    site's where `name` is not given."""

    name: str = ""
    horizon: HorizonProfile = HorizonProfile()


def with_site(config: Config, name: str | None) -> Config:
    """The configuration at one of its sites; by default `preferences.site`.

    Raises
    ------
    nightplan.errors.InputError
        There is no such site.
    """
    name = config.preferences.site if name is None else name
    if name in (MAIN, config.site.name):
        return config
    for key, other in config.other_site.items():
        if name in (key, other.name):
            fields = {field: getattr(other, field) for field in Site.model_fields}
            site = Site.model_construct(**{**fields, "name": other.name or key})
            return config.model_copy(update={"site": site, "horizon": other.horizon})
    accepted = f"one of {', '.join(sites_of(config))}"
    raise InputError("command line", "--site", name, accepted)


def sites_of(config: Config) -> list[str]:
    """Names that `--site` takes, the file's first site first."""
    return [MAIN, *config.other_site]
