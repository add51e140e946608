"""How long one sub should be, and what decided it.

Floors make a sub long enough: read noise against sky noise, the share of time lost between subs,
the user's minimum. Ceilings keep it short enough: saturation, guiding, the user's maximum. Where
they cross the ceiling holds, and the noise it costs is reported.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nightplan.light.photometry import Floats

LADDER_S = (
    1.0, 2.0, 3.0, 5.0, 8.0, 10.0, 15.0, 20.0, 30.0, 45.0, 60.0, 90.0, 120.0, 150.0, 180.0, 240.0,
    300.0, 360.0, 420.0, 480.0, 600.0, 720.0, 900.0, 1200.0, 1500.0, 1800.0, 2400.0, 3000.0,
    3600.0, 5400.0, 7200.0,
)  # fmt: skip
"""Tidy sub lengths: few enough that dark frames serve again."""

BOUNDS = ("read_noise", "overhead", "saturation", "guiding", "user_maximum", "user_minimum")


def shortest_useful_s(
    read_noise_e: npt.ArrayLike, background_e_s: npt.ArrayLike, extra_noise: npt.ArrayLike
) -> Floats:
    """Sub in which read noise adds the share p to the noise of sky and dark current.

    t = R² / (s ((1 + p)² − 1)), from √(s t + R²) = (1 + p) √(s t). `background_e_s` s is sky plus
    dark current, electrons/s/pixel; shapes broadcast. inf for no background.
    """
    growth = (1.0 + np.asarray(extra_noise, dtype=float)) ** 2 - 1.0
    with np.errstate(divide="ignore"):
        return np.asarray(
            np.asarray(read_noise_e, dtype=float) ** 2
            / (np.asarray(background_e_s, dtype=float) * growth)
        )


def extra_noise(
    read_noise_e: npt.ArrayLike, background_e_s: npt.ArrayLike, sub_s: npt.ArrayLike
) -> Floats:
    """p of a given sub: √(1 + R²/(s t)) − 1, the inverse of `shortest_useful_s`."""
    gathered = np.asarray(background_e_s, dtype=float) * np.asarray(sub_s, dtype=float)
    with np.errstate(divide="ignore"):
        return np.asarray(np.sqrt(1.0 + np.asarray(read_noise_e, dtype=float) ** 2 / gathered) - 1)


def overhead_floor_s(
    download_s: float, dither_s: float, dither_every_subs: int, share: float
) -> float:
    """Sub for which time between subs takes at most `share` of the clock.

    o (1 − share)/share with o = download + dither / every; from o/(t + o) = share.
    """
    between = download_s + dither_s / dither_every_subs
    return between * (1.0 - share) / share


def saturation_s(
    limit_e: npt.ArrayLike, peak_e_s: npt.ArrayLike, background_e_s: npt.ArrayLike
) -> Floats:
    """Sub that fills a star's brightest pixel.

    `limit_e` is the lesser of full well and converter range (see `saturation_level_e`),
    `peak_e_s` the star's rate in that pixel, to which the background adds.
    """
    filling = np.asarray(peak_e_s, dtype=float) + np.asarray(background_e_s, dtype=float)
    with np.errstate(divide="ignore"):
        return np.asarray(np.asarray(limit_e, dtype=float) / filling)


def saturation_level_e(full_well_e: float, e_per_adu: float, bits: int) -> float:
    """Electrons at which a pixel clips: min(full well, e⁻/ADU × (2^bits − 1))."""
    return min(full_well_e, e_per_adu * (2.0**bits - 1.0))


@dataclass(frozen=True)
class SubLimits:
    """Floors and ceilings of one sub, s."""

    read_noise_s: float
    overhead_s: float
    user_minimum_s: float
    saturation_s: float
    guiding_s: float
    user_maximum_s: float


@dataclass(frozen=True)
class SubChoice:
    """The length chosen, s, and the name (of `BOUNDS`) of what decided it."""

    sub_s: float
    bound: str


def tidy_up(seconds: float) -> float:
    """Least rung of the ladder not below `seconds`; the top rung above it."""
    return next((rung for rung in LADDER_S if rung >= seconds * (1.0 - 1e-9)), LADDER_S[-1])


def tidy_down(seconds: float) -> float:
    """Highest rung of the ladder not above `seconds`; `seconds` itself below the lowest."""
    under = [rung for rung in LADDER_S if rung <= seconds * (1.0 + 1e-9)]
    return under[-1] if under else seconds


def choose_sub(limits: SubLimits) -> SubChoice:
    """Longest floor rounded up, unless that passes the lowest ceiling: then it, rounded down."""
    floors = {
        "read_noise": limits.read_noise_s,
        "overhead": limits.overhead_s,
        "user_minimum": limits.user_minimum_s,
    }
    ceilings = {
        "saturation": limits.saturation_s,
        "guiding": limits.guiding_s,
        "user_maximum": limits.user_maximum_s,
    }
    floor = max(floors, key=lambda name: floors[name])
    # of equal ceilings the user's own word is named
    ceiling = min(reversed(ceilings), key=lambda name: ceilings[name])
    wanted = tidy_up(floors[floor])
    if wanted <= ceilings[ceiling] * (1.0 + 1e-9):
        return SubChoice(wanted, floor)
    return SubChoice(tidy_down(ceilings[ceiling]), ceiling)
