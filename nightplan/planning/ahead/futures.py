"""Sampled futures: which of the coming nights are clear, and how long the campaign lasts.

Each night is clear with the same chance, on its own. A future also ends: nobody knows how many
more nights a target gets before the weather, the season or the imager moves on. Ends are drawn
from an exponential distribution, so that no night is looked upon as the last and none is put off
for ever; without them a plan that rolls from night to night postpones the hard filters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Bools, Floats

LOOK_NIGHTS = 30
"""How far ahead: a synodic month is 29.5 days, so that every night sees a whole moon."""
FUTURES = 16
"""With 16 the value of a night is known to under 1 %; 64 changed no simulated month by more than
its standard error."""
LASTING_NIGHTS = 10.0
"""Mean nights that a campaign goes on; 5 spends dark hours as if there were no tomorrow, 30 puts
off too much (simulated months, `benchmarks/bench_months.py`)."""
SEED = 20270101
PARTS_OF_NIGHT = 5
"""Parts into which a coming night's slots are joined: about two hours each."""


@dataclass(frozen=True, eq=False)
class Futures:
    """Equivalent hours that parts of clear nights offer, (future, night, part, row): each
    future's clear nights in order, then nights of nothing up to the longest of them."""

    offered_h: Floats

    @property
    def count(self) -> int:
        """How many futures."""
        return int(self.offered_h.shape[0])


def clear_patterns(nights: int, chance: float, count: int, seed: int = SEED) -> Bools:
    """Which nights are clear, (night, pattern).

    Within a night exactly the chance's share of the patterns is clear, in a random order of its
    own (Latin hypercube sampling: McKay, Beckman & Conover 1979, Technometrics 21, 239). A
    night's order depends on the nights before it only, so a longer run holds the shorter one.
    """
    rng = np.random.default_rng(seed)
    clear = np.zeros((nights, count), dtype=bool)
    for night in range(nights):
        # A share that is no whole number of patterns is rounded at random, right in the mean.
        part = int(np.floor(chance * count + rng.random()))
        clear[night, rng.permutation(count)[:part]] = True
    return clear


def lasting_nights(count: int) -> Floats:
    """Nights that each future goes on, (future,): the exponential distribution's quantiles."""
    return -LASTING_NIGHTS * np.log(1.0 - (np.arange(count) + 0.5) / count)


def sampled_futures(offered_h: Floats, chance: float, count: int = FUTURES) -> Futures:
    """Futures over the nights after tonight.

    Parameters
    ----------
    offered_h : array (night, part, row)
        Equivalent hours that each part of a clear night offers each row, tonight left out.
    """
    nights = offered_h.shape[0]
    clear = clear_patterns(nights, chance, count).T
    goes_on = np.arange(1, nights + 1)[None, :] <= lasting_nights(count)[:, None]
    held = clear & goes_on & offered_h.any(axis=(1, 2))
    return known_futures(offered_h, held)


def known_futures(offered_h: Floats, clear: Bools) -> Futures:
    """Futures with given clear nights, (future, night); each holds its own clear nights only."""
    most = int(clear.sum(axis=1).max(initial=0))
    packed = np.zeros((clear.shape[0], most, *offered_h.shape[1:]))
    for number, nights in enumerate(clear):
        own = np.flatnonzero(nights)
        packed[number, : own.size] = offered_h[own]
    return Futures(packed)


def joined_parts(rate: Floats, slot_h: Floats, slots: NDArray[np.intp]) -> Floats:
    """Slots of each night joined into parts, (night, part, row), equivalent hours."""
    joined = np.zeros((rate.shape[0], PARTS_OF_NIGHT, rate.shape[2]))
    for night in np.flatnonzero(slots):
        edges = np.linspace(0, slots[night], PARTS_OF_NIGHT + 1).round().astype(int)
        sums = np.cumsum(np.vstack([np.zeros(rate.shape[2]), rate[night, : slots[night]]]), axis=0)
        joined[night] = (sums[edges[1:]] - sums[edges[:-1]]) * slot_h[night]
    return joined
