"""Times at which a smooth function crosses levels. Knows no astronomy.

The function is sampled on a step short enough that it bends only one way inside two steps. Where
a sampled peak or trough comes near a level without reaching it, the true extremum is sought first
and joins the samples, so that a grazing pair of crossings inside one step is not lost.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from nightplan.arrays import Bools, Floats

Function = Callable[[Floats], Floats]

_PROBES = np.linspace(0.0, 1.0, 11)
_EXTREMUM_ROUNDS = 6
_ROOT_ROUNDS = 60


@dataclass(frozen=True)
class Crossings:
    """Crossings of one level, in order of time."""

    times: Floats
    rising: Bools
    starts_above: bool
    """Whether the function is at or above the level at the start of the search."""

    def rises(self) -> Floats:
        return self.times[self.rising]

    def falls(self) -> Floats:
        return self.times[~self.rising]

    def intervals(self, start: float, end: float, *, above: bool) -> list[tuple[float, float]]:
        """Stretches of start..end (the span that was searched) spent above or below the level."""
        edges = [start, *(float(t) for t in self.times), end]
        first = 0 if self.starts_above == above else 1
        return [(a, b) for a, b in list(pairwise(edges))[first::2] if b > a]


def find_crossings(
    function: Function,
    start: float,
    end: float,
    step: float,
    levels: Sequence[float],
    tolerance: float = 1e-9,
) -> list[Crossings]:
    """Crossings of every level in start <= t <= end; one `Crossings` per level, same order.

    `function` maps an array of times (n,) to values (n,). Levels share its samples, and all
    roots are refined together. A value equal to a level counts as above it. `tolerance` is the
    accuracy of the times, in their own unit.

    Raises ValueError unless start < end and step > 0.
    """
    if not start < end or not step > 0.0:
        raise ValueError(f"need start < end and step > 0, got {start}, {end}, {step}")
    times = np.linspace(start, end, max(4, int(np.ceil((end - start) / step)) + 1))
    values = np.asarray(function(times), dtype=np.float64)
    times, values = _with_extrema(function, times, values, np.asarray(levels, dtype=np.float64))

    brackets = []
    for level in levels:
        above = values >= level
        brackets.append(np.flatnonzero(above[1:] != above[:-1]))
    left = np.concatenate(brackets)
    level_of_root = np.repeat(np.asarray(levels, dtype=np.float64), [b.size for b in brackets])
    roots = _refine_roots(
        function,
        times[left],
        times[left + 1],
        values[left] - level_of_root,
        values[left + 1] - level_of_root,
        level_of_root,
        tolerance,
    )
    found, first = [], 0
    for level, bracket in zip(levels, brackets, strict=True):
        found.append(
            Crossings(
                times=roots[first : first + bracket.size],
                rising=values[bracket] < level,
                starts_above=bool(values[0] >= level),
            )
        )
        first += bracket.size
    return found


def _with_extrema(
    function: Function, times: Floats, values: Floats, levels: Floats
) -> tuple[Floats, Floats]:
    """Add the true extrema that may reach a level which their neighbouring samples miss."""
    # An extremum may also hide in the first or last cell, whose outer neighbour is not sampled.
    middle = np.arange(1, times.size - 1)
    last = times.size - 1
    left = np.concatenate((middle - 1, [0, last - 1]))
    right = np.concatenate((middle + 1, [1, last]))
    centre = np.concatenate((middle, [1, last - 1]))
    bend = values[centre - 1] - 2.0 * values[centre] + values[centre + 1]
    sign = np.where(bend > 0.0, -1.0, 1.0)
    best = np.maximum(sign * values[left], sign * values[right])
    inside = np.arange(centre.size) < middle.size
    peaked = ~inside | (sign * values[centre] >= best)
    best = np.where(inside, sign * values[centre], best)
    # A parabola overshoots its samples by at most an eighth of their second difference.
    reach = best + np.abs(bend)
    signed_levels = sign[:, None] * levels[None, :]
    near = np.any((signed_levels >= best[:, None]) & (signed_levels <= reach[:, None]), axis=1)
    wanted = np.flatnonzero(peaked & near)
    if wanted.size == 0:
        return times, values

    low, high, sign = times[left[wanted]], times[right[wanted]], sign[wanted]
    row = np.arange(wanted.size)
    for _ in range(_EXTREMUM_ROUNDS):
        probe = low[:, None] + (high - low)[:, None] * _PROBES
        value = np.asarray(function(probe.ravel()), dtype=np.float64).reshape(probe.shape)
        top = np.argmax(sign[:, None] * value, axis=1)
        low = probe[row, np.maximum(top - 1, 0)]
        high = probe[row, np.minimum(top + 1, _PROBES.size - 1)]
    times = np.concatenate((times, probe[row, top]))
    values = np.concatenate((values, value[row, top]))
    order = np.argsort(times, kind="stable")
    return times[order], values[order]


def _refine_roots(
    function: Function,
    low: Floats,
    high: Floats,
    f_low: Floats,
    f_high: Floats,
    level: ArrayLike,
    tolerance: float,
) -> Floats:
    """Ridders 1979, IEEE Trans. Circuits Syst. 26, 979, on all brackets at once."""
    if low.size == 0:
        return low
    low, high, f_low, f_high = low.copy(), high.copy(), f_low.copy(), f_high.copy()
    level = np.asarray(level)
    previous = np.full(low.shape, np.nan)
    for _ in range(_ROOT_ROUNDS):
        middle = 0.5 * (low + high)
        f_middle = np.asarray(function(middle)) - level
        scale = np.sqrt(np.maximum(f_middle**2 - f_low * f_high, 0.0))
        with np.errstate(invalid="ignore", divide="ignore"):
            step = (middle - low) * np.sign(f_low - f_high) * f_middle / scale
        guess = np.clip(np.where(np.isfinite(step), middle + step, middle), low, high)
        f_guess = np.asarray(function(guess)) - level
        for point, value in ((middle, f_middle), (guess, f_guess)):
            inside = (point >= low) & (point <= high)
            to_low = inside & ((value >= 0.0) == (f_low >= 0.0))
            to_high = inside & ~to_low
            low, f_low = np.where(to_low, point, low), np.where(to_low, value, f_low)
            high, f_high = np.where(to_high, point, high), np.where(to_high, value, f_high)
        settled = (np.abs(guess - previous) <= tolerance) | (high - low <= tolerance)
        if np.all(settled | (f_guess == 0.0)):
            break
        previous = guess
    return guess
