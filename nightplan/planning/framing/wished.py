"""The imager's composition as an outline: what the field has to hold, and where its centre is."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

from nightplan.model.catalog_reading import load_catalog
from nightplan.model.own_targets import own_targets
from nightplan.model.target import Target
from nightplan.model.wishes import FramingWish
from nightplan.planning.framing.outlines import Shape, shape_of, shape_of_group
from nightplan.sky.tangent_plane import deproject

if TYPE_CHECKING:
    from nightplan.model.config import Config


def wished_shape(config: Config, target: Target, wish: FramingWish) -> tuple[Shape, str]:
    """The outline of a target with what its field has to hold beside it, and the names of both.

    The field's centre is bound where the wish has one; `offset_arcmin` is counted along the
    tangent plane at the target's middle.

    Raises
    ------
    nightplan.errors.TargetError
        A name among `with_targets` is unknown or ambiguous.
    """
    shape, label = shape_of(target), target.name
    middle = shape
    if wish.with_targets:
        members = [target, *companions(config, wish.with_targets)]
        shape, label = shape_of_group(members), " + ".join(one.name for one in members)
    if wish.centre_deg is not None:
        shape = shape.pinned_at(*wish.centre_deg)
    elif wish.offset_arcmin is not None:
        east, north = (math.tan(math.radians(step / 60.0)) for step in wish.offset_arcmin)
        ra_deg, dec_deg = deproject(east, north, middle.ra_deg, middle.dec_deg)
        shape = shape.pinned_at(float(ra_deg), float(dec_deg))
    return shape, label


def companions(config: Config, names: tuple[str, ...]) -> tuple[Target, ...]:
    """The targets that a wish names, from the catalogue or the configuration."""
    return _found(names, own_targets(config))


@lru_cache(maxsize=32)
def _found(names: tuple[str, ...], own: tuple[Target, ...]) -> tuple[Target, ...]:
    catalog = load_catalog(own)
    return tuple(catalog.target(catalog.find(name)) for name in names)
