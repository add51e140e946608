"""The proven bound: the Lagrangian of the night, lowered by better prices.

For any prices >= 0 the bound is  conjugate of the utility + value of the best path.  The linear
programme of all paths found proposes prices; the trial point lies between its proposal and the
best prices so far (smoothing: Wentges 1997, "Weighted Dantzig-Wolfe decomposition for linear
mixed-integer programming", Int. Trans. Oper. Res. 4, 151), which needs far fewer paths.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from nightplan.planning.schedule_problem import FloatArray
from nightplan.planning.solving.master import Master
from nightplan.planning.solving.path_programme import NightPath, PathProgramme
from nightplan.planning.solving.utility_model import RowUtility

SMOOTHING = 0.6


@dataclass(eq=False)
class Bound:
    """What a bounding run knows: `value` is above every schedule that `taken` allows."""

    value: float
    price: FloatArray
    bonus: FloatArray
    taken_share: FloatArray
    paths: list[NightPath] = field(default_factory=list)
    iterations: int = 0
    converged: bool = False


def first_prices(utility: RowUtility) -> tuple[FloatArray, FloatArray]:
    """A guess: a bit over half of each row's slope at what is there."""
    safe = np.where(utility.goal_h > 0.0, utility.goal_h, 1.0)
    return 1.2 * utility.weight * utility.room / safe, np.zeros(utility.goal_h.size)


def lower_bound_by_prices(
    programme: PathProgramme,
    utility: RowUtility,
    master: Master,
    start: tuple[FloatArray, FloatArray],
    iterations: int,
    spare: Callable[[], bool],
    taken: FloatArray | None = None,
    good_enough: float = -np.inf,
    tolerance: float = 2e-4,
) -> Bound:
    """Lower the bound until the linear programme meets it, iterations or time run out.

    `taken` array (row,): nan free, 0 forbidden, 1 forced. It stops early below `good_enough`,
    or once the linear programme shows that it cannot get there.
    """
    rows = utility.goal_h.size
    taken = np.full(rows, np.nan) if taken is None else taken
    programme.lane_open = taken[programme.row] != 0.0
    constant = utility.constant()
    price, bonus = start
    best = Bound(np.inf, price, bonus, np.zeros(rows))
    trial = start
    for number in range(iterations):
        path = programme.best(*trial)
        value = constant + utility.conjugate(*trial, taken) + path.value
        best.iterations = number + 1
        if value < best.value:
            best.value, best.price, best.bonus = value, trial[0], trial[1]
        if path.arcs:
            best.paths.append(path)
            master.add(path)
        if best.value <= good_enough or not spare():
            break
        mixed, price, bonus, _, best.taken_share = master.solve()
        if best.value - (constant + mixed) <= tolerance * abs(best.value):
            best.converged = True
            break
        trial = (
            SMOOTHING * best.price + (1.0 - SMOOTHING) * price,
            SMOOTHING * best.bonus + (1.0 - SMOOTHING) * bonus,
        )
    return best
