"""Configurations: read one, write the starter file, take the demo, look for oddities."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from nightplan.library.inputs import value_in
from nightplan.library.outputs import Answer
from nightplan.model.config import Config, load_config
from nightplan.model.site import LampLight, Site
from nightplan.model.starter import demo_config, starter_text
from nightplan.planning.tonight.earth_orientation import configure_astropy

if TYPE_CHECKING:
    from astroplan import Observer
    from astropy.units import Quantity

    from nightplan.model.config import Config
    from nightplan.report.documents.check import CheckDocument

__all__ = [
    "config_at",
    "configure_astropy",
    "demo_config",
    "load_config",
    "site_at",
    "write_starter",
]


def write_starter(path: str | os.PathLike[str] = "nightplan.toml") -> None:
    """Write the commented starter file, as `nightplan start` does; never over a file.

    Raises
    ------
    nightplan.errors.FileError
        The file exists already or cannot be written.
    """
    from nightplan.files import write_whole

    write_whole(path, starter_text(), replace=False)


def site_at(observer: Observer, sky: Quantity | str, lamp_light: LampLight = "mixed") -> Site:
    """A site from an astroplan Observer.

    Parameters
    ----------
    observer : astroplan.Observer
        Location (WGS 84), name and time zone are taken.
    sky : Quantity
        Moonless zenith sky, V, as measured from the ground: mag/arcsec².
    lamp_light : str
        What lamps the sky glow comes from: `natural`, `led`, `sodium` or `mixed`.

    Raises
    ------
    nightplan.errors.InputError
        `sky` is no surface brightness.
    """

    return Site.from_observer(
        observer, value_in("sky", sky, "mag / arcsec2"), lamp_light=lamp_light
    )


def config_at(config: Config, where: Observer | Site, sky: Quantity | str | None = None) -> Config:
    """A configuration's rig and habits at another site, with a flat horizon.

    The journal beside the configuration is still the same one.

    Parameters
    ----------
    config : Config
    where : astroplan.Observer or Site
    sky : Quantity, optional
        Zenith sky of an Observer, V mag/arcsec²; by default that of the configuration's own site.

    Raises
    ------
    nightplan.errors.InputError
        There is neither a sky brightness given nor one in the configuration.
    """
    from nightplan.errors import InputError
    from nightplan.model.site import HorizonProfile

    if isinstance(where, Site):
        site = where
    elif sky is not None:
        site = site_at(where, sky, config.site.lamp_light)
    elif config.site.sky_mag_arcsec2 is not None:
        site = Site.from_observer(where, config.site.sky_mag_arcsec2, config.site.lamp_light)
    else:
        raise InputError("library", "sky", None, "the zenith sky, V mag/arcsec²")
    return config.model_copy(update={"site": site, "horizon": HorizonProfile()})


class ConfigCheck(Answer):
    """What a configuration says, and what looks odd in it; printed as `nightplan check` has it."""

    def __init__(self, document: CheckDocument, config: Config) -> None:
        self._document = document
        self._config = config

    @property
    def document(self) -> CheckDocument:
        """The JSON document of `nightplan check`."""
        return self._document

    def _text(self, full: bool) -> str:
        from nightplan.report.texts.check_text import check_text

        return check_text(self._document, self._config)


def check(config: Config) -> ConfigCheck:
    """Read a configuration back and say what looks odd in it; as `nightplan check`.

    Parameters
    ----------
    config : Config
    """
    import datetime

    from nightplan.planning.optics.rig_oddities import rig_oddities
    from nightplan.report.documents.check import check_document
    from nightplan.report.texts.check_text import oddity_words

    odd = rig_oddities(config, datetime.datetime.now(datetime.UTC))
    document = check_document(config, [(oddity, oddity_words(oddity)) for oddity in odd])
    return ConfigCheck(document, config)
