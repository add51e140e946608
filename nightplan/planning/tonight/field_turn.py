"""How fast the sky turns in the camera on an alt-azimuth mount.

About the field's middle it turns at ω cos φ cos A ÷ cos h (the rate of the parallactic angle, from
Meeus 1998, Astronomical Algorithms, eq. 14.1, differentiated; from memory, tested by differences
of pyerfa's parallactic angle): fastest at the meridian, and without bound at the zenith.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Floats

if TYPE_CHECKING:
    from nightplan.planning.tonight.visibility import SkyTracks


SIDEREAL_ARCSEC_S = 15.041067
"""Turn of the earth, arcsec per second (IERS Conventions 2010, table 1.2: 7.292115e-5 rad/s)."""

MOST_TURN = 1.5
"""|cos A| ÷ cos h up to which a turning field is shot; what lies nearer to the zenith is left out:
twice as much would halve the subs for a few per cent of sky."""


def field_turn_arcsec_s(latitude_deg: float, altitude_deg: Floats, azimuth_deg: Floats) -> Floats:
    """Rate at which the sky turns in an alt-azimuth field, arcsec per second, signed."""
    cos = np.cos(np.radians(azimuth_deg)) / np.cos(np.radians(altitude_deg))
    return np.asarray(SIDEREAL_ARCSEC_S * math.cos(math.radians(latitude_deg)) * cos)


def turn_share(tracks: SkyTracks) -> Floats:
    """|cos A| ÷ cos h, which the rate goes with, (target, time)."""
    azimuth, altitude = np.radians(tracks.azimuth_deg), np.radians(tracks.altitude_deg)
    return np.asarray(np.abs(np.cos(azimuth)) / np.cos(altitude))


def most_turn(tracks: SkyTracks, usable: NDArray[np.bool_]) -> Floats:
    """The greatest `turn_share` of each target while it is usable, (target,); `MOST_TURN` where
    it never is. `usable` is (target, time)."""
    most = np.max(np.where(usable, turn_share(tracks), 0.0), axis=1, initial=0.0)
    return np.where(usable.any(axis=1), np.minimum(most, MOST_TURN), MOST_TURN)


def turn_margin_deg(tracks: SkyTracks) -> Floats:
    """Degrees below the altitude at which the field turns faster than `MOST_TURN` allows,
    (target, time)."""
    highest = np.degrees(np.arccos(np.abs(np.cos(np.radians(tracks.azimuth_deg))) / MOST_TURN))
    return np.asarray(highest - tracks.altitude_deg)
