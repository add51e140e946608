"""How long one sub should be, and what decided it.

Floors make a sub long enough: read noise against sky noise, the share of time lost between subs,
the user's minimum. Ceilings keep it short enough: saturation, guiding, the user's maximum. Where
they cross the ceiling holds, and the noise it costs is reported.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from nightplan.light.photometry import Floats

ROUND_S = (30.0, 60.0, 120.0, 180.0, 300.0, 600.0)
"""Sub lengths by default: few, so that dark frames serve again (common practice, no source)."""
BELOW_S = (0.1, 0.2, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 15.0, 20.0)
"""What stands below the round lengths, where those saturate."""

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


def lengths_within(
    lengths_s: Sequence[float], shortest_s: float, longest_s: float
) -> tuple[float, ...]:
    """Round lengths inside the user's bounds, rising; without any the bound nearest to one."""
    least = min(lengths_s)
    every = sorted({*lengths_s, *(one for one in BELOW_S if one < least)})
    inside = tuple(
        one for one in every if shortest_s * (1.0 - 1e-9) <= one <= longest_s * (1.0 + 1e-9)
    )
    return inside or ((longest_s,) if every[-1] > longest_s else (shortest_s,))


def choose_sub(limits: SubLimits, lengths_s: Sequence[float] = ROUND_S) -> SubChoice:
    """The shortest round length that keeps every floor, or the longest under the lowest ceiling.

    The user's own bounds always hold: where saturation or guiding would have less than the
    shortest length allowed, that one is taken and the ceiling it breaks is named.
    """
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
    allowed = lengths_within(lengths_s, limits.user_minimum_s, limits.user_maximum_s)
    under = [one for one in allowed if one <= ceilings[ceiling] * (1.0 + 1e-9)]
    enough = [one for one in under if one >= floors[floor] * (1.0 - 1e-9)]
    if enough:
        return SubChoice(enough[0], floor)
    if under:
        return SubChoice(under[-1], "user_maximum" if under[-1] == allowed[-1] else ceiling)
    return SubChoice(allowed[0], "user_minimum")


def broken_bounds(limits: SubLimits, sub_s: float) -> tuple[str, ...]:
    """The floors and ceilings, by their names, that a sub of given length breaks."""
    below = {"read_noise": limits.read_noise_s, "user_minimum": limits.user_minimum_s}
    above = {
        "saturation": limits.saturation_s,
        "guiding": limits.guiding_s,
        "user_maximum": limits.user_maximum_s,
    }
    return tuple(
        [name for name, least in below.items() if sub_s < least * (1.0 - 1e-9)]
        + [name for name, most in above.items() if sub_s > most * (1.0 + 1e-9)]
    )
