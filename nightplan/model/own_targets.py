"""The imager's own targets, from the configuration into the catalogue."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.errors import ConfigError, TargetError
from nightplan.model.catalog import Catalog
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.target import KINDS, NAME_WORDS, Target, is_name

if TYPE_CHECKING:
    from nightplan.model.config import Config


def own_targets(config: Config) -> tuple[Target, ...]:
    """Targets of the configuration's `[target."NAME"]` tables.

    Raises ConfigError (a kind is not one of the catalogue's, or the minor axis exceeds the major
    one).
    """
    found = []
    for name, own in config.target.items():
        if not is_name(name):
            raise ConfigError(str(config.path), "target", name, NAME_WORDS)
        if own.kind not in KINDS:
            raise ConfigError(
                str(config.path), f"target.{name}.kind", own.kind, f"one of {', '.join(KINDS)}"
            )
        if own.minor_arcmin is not None and own.minor_arcmin > own.major_arcmin:
            raise ConfigError(
                str(config.path),
                f"target.{name}.minor_arcmin",
                own.minor_arcmin,
                f"a number above 0 to major_arcmin, {own.major_arcmin:g}",
            )
        bright = own.surface_brightness_mag_arcsec2
        found.append(
            Target(
                name=name,
                ra_deg=own.ra_deg,
                dec_deg=own.dec_deg,
                major_arcmin=own.major_arcmin,
                minor_arcmin=own.minor_arcmin,
                angle_deg=own.angle_deg,
                kind=own.kind,
                magnitude_v=own.magnitude_v,
                surface_brightness_mag_arcsec2=bright,
                surface_brightness_band="" if bright is None else "V",
                surface_brightness_source="" if bright is None else "configuration",
                radial_velocity_km_s=own.radial_velocity_km_s,
                size_source="configuration",
                position_source="configuration",
                kind_source="configuration",
                angle_source="" if own.angle_deg is None else "configuration",
                origin="user",
            )
        )
    return tuple(found)


def catalog_for(config: Config) -> Catalog:
    """The bundled catalogue with the imager's own targets; theirs win where names clash.

    Raises ConfigError (as `own_targets`; or a goal, a framing or a preference names what is no
    target).
    """
    catalog = load_catalog(own_targets(config))
    named = [("goal", name) for name in config.goal]
    named += [("framing", name) for name in config.framing]
    named += [
        (f"framing.{owner}.with_targets", name)
        for owner, wish in config.framing.items()
        for name in wish.with_targets
    ]
    named += [("preferences.targets", name) for name in config.preferences.targets]
    for key, name in named:
        try:
            catalog.find(name)
        except TargetError as error:
            accepted = f"the name of a target ({error})"
            raise ConfigError(str(config.path), key, name, accepted) from error
    return catalog
