"""Framing of a whole catalogue at once: what ranks targets before any is framed in earnest.

Targets are their ellipses in the tangent plane, centred in one field; all is closed form. The
exact framing of a chosen target (its outline, areas on the sphere) is `frame_target`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats
from nightplan.plane.ellipses import area_share, half_extents, room
from nightplan.planning.framing.outlines import POINT_ARCMIN
from nightplan.planning.optics.train_optics import ARCMIN_PER_RADIAN, train_optics
from nightplan.sky.angles import wrap_axis_deg

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config


_HALVINGS = 40
_TURNS_DEG = np.arange(0.0, 91.0, 1.0)


@dataclass(frozen=True)
class CatalogFraming:
    """One field of each train over each target; arrays of shape (target, train).

    Attributes
    ----------
    trains : tuple of str
        Names, in the order of the second axis.
    coverage : ndarray
        Share of the ellipse inside the field at the best angle, 0 to 1.
    margin_arcmin : ndarray
        Least room from the ellipse to the field's sides, negative where it crosses one.
    position_angle_deg : ndarray
        The angle taken, 0 <= angle < 180.
    panels : ndarray
        Panels that just hold the target at the best angle; 1 for one field.
    fits : ndarray of bool
        Whether one field gives the wanted margin.
    allowed : ndarray of bool
        False for trains other than the one that the imager wishes for the target.
    """

    trains: tuple[str, ...]
    coverage: Floats
    margin_arcmin: Floats
    position_angle_deg: Floats
    panels: Floats
    fits: NDArray[np.bool_]
    allowed: NDArray[np.bool_]


def ellipse_axes(catalog: Catalog) -> tuple[Floats, Floats, Floats]:
    """Half axes as tangents and position angles of a catalogue's targets, (target,) each.

    Conservative where data lack, as `nightplan.planning.framing.outlines.shape_of`: unknown size is
    `POINT_ARCMIN`, a lone axis is a diameter, an elongated target of unknown angle is the circle
    of its major axis.
    """
    major = np.where(np.isnan(catalog.major_arcmin), POINT_ARCMIN, catalog.major_arcmin)
    minor = np.where(np.isnan(catalog.minor_arcmin), major, catalog.minor_arcmin)
    unknown = np.isnan(catalog.angle_deg)
    minor = np.where(unknown, major, minor)
    angle = np.where(unknown, 0.0, catalog.angle_deg)
    half = np.radians(np.minimum(np.stack((major, minor)) / 120.0, 70.0))
    semi_major, semi_minor = np.tan(half)
    return semi_major, semi_minor, angle


def frame_catalog(
    config: Config, catalog: Catalog, trains: Sequence[str] | None = None
) -> CatalogFraming:
    """Best single-field framing of every target with every train.

    Parameters
    ----------
    config, catalog
    trains : sequence of str, optional
        Names of trains; all of the configuration by default.

    Raises
    ------
    nightplan.errors.InputError
        A train is not in the configuration.
    """
    names = tuple(config.train if trains is None else trains)
    optics = [train_optics(config, name) for name in names]
    wanted = config.preferences.margin_arcmin / ARCMIN_PER_RADIAN
    major, minor, angle = (values[:, None] for values in ellipse_axes(catalog))
    wide = np.array([each.half_long_plane for each in optics])
    high = np.array([each.half_short_plane for each in optics])

    turn = _roomiest_turn(major, minor, wide, high)
    best_angle = wrap_axis_deg(angle - turn)
    margin = room(major, minor, turn, wide, high)
    coverage = np.where(margin >= 0.0, 1.0, 0.0)
    fits = margin >= wanted - 1e-9
    north, across = (room(major, minor, plain - angle, wide, high) for plain in (90.0, 0.0))
    plain_margin = np.maximum(north, across)
    take = fits & (plain_margin >= wanted - 1e-9)
    plain = np.where(across > north + 0.01 / ARCMIN_PER_RADIAN, 0.0, 90.0)
    best_angle, margin = np.where(take, plain, best_angle), np.where(take, plain_margin, margin)

    over_target, over_train = np.nonzero(margin < 0.0)
    if over_target.size:
        big_major, big_minor = major[over_target], minor[over_target]
        big_wide, big_high = wide[over_train][:, None], high[over_train][:, None]
        shares = area_share(big_major, big_minor, _TURNS_DEG, big_wide, big_high)
        room_left = room(big_major, big_minor, _TURNS_DEG, big_wide, big_high)
        near = shares >= shares.max(axis=1, keepdims=True) - 1e-4
        top = np.argmax(np.where(near, room_left, -np.inf), axis=1)
        rows = np.arange(top.size)
        coverage[over_target, over_train] = shares[rows, top]
        margin[over_target, over_train] = room_left[rows, top]
        best_angle[over_target, over_train] = wrap_axis_deg(angle[over_target, 0] - _TURNS_DEG[top])
    return CatalogFraming(
        trains=names,
        coverage=coverage,
        margin_arcmin=ARCMIN_PER_RADIAN * margin,
        position_angle_deg=best_angle,
        panels=_panels(major, minor, wide, high, fits, config.preferences.mosaic_overlap),
        fits=fits,
        allowed=np.ones(fits.shape, dtype=bool),
    )


def _roomiest_turn(major: Floats, minor: Floats, wide: Floats, high: Floats) -> Floats:
    """Turn, 0 to 90, from the field's long side to the major axis that leaves most room.

    Room along the long side grows with the turn and room along the short side shrinks; the most
    of the lesser is at 0 if the short side binds there, at 90 if the long side binds there, else
    where the two are equal.
    """
    low = np.zeros(np.broadcast_shapes(major.shape, wide.shape))
    top = np.full(low.shape, 90.0)

    def short_binds(turn: Floats) -> NDArray[np.bool_]:
        along, across = half_extents(major, minor, turn)
        return np.asarray(high - across <= wide - along)

    at_once = short_binds(low)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + top)
        binds = short_binds(middle)
        low, top = np.where(binds, low, middle), np.where(binds, middle, top)
    return np.where(at_once, 0.0, top)


def _panels(
    major: Floats,
    minor: Floats,
    wide: Floats,
    high: Floats,
    fits: NDArray[np.bool_],
    overlap: float,
) -> Floats:
    from nightplan.planning.framing.mosaic import panels_needed

    count = np.ones(fits.shape)
    over_target, over_train = np.nonzero(~fits)
    if over_target.size:
        along, across = half_extents(
            major[over_target], minor[over_target], np.arange(0.0, 91.0, 5.0)
        )
        columns = panels_needed(2.0 * along / wide[over_train][:, None], 2.0, overlap)
        rows = panels_needed(2.0 * across / high[over_train][:, None], 2.0, overlap)
        count[over_target, over_train] = (columns * rows).min(axis=1)
    return count
