"""A train for each of several targets, where one for all need not be best."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from nightplan.planning.choosing.train_choice import TrainRanking

Assignment = tuple[str, ...]
"""The train of each target, in their order."""


@dataclass(frozen=True)
class Assignments:
    """The best of the assignments that were tried, and what each is worth."""

    best: Assignment
    values: dict[Assignment, float]


def best_assignment(
    trains: Sequence[str],
    rankings: Sequence[TrainRanking],
    fixed: Sequence[str | None],
    value: Callable[[Assignment], float],
    most: int | None = None,
    least_gain: float = 1e-6,
) -> Assignments:
    """Try all targets in one train, each in its own best, and then a change of one at a time.

    A change is tried into a train that suits its target better, or that others have too.

    Parameters
    ----------
    trains : sequence of str
    rankings : sequence of TrainRanking
        At least one.
    fixed : sequence of str or None
        The train of targets that keep theirs.
    value : callable
        What an assignment is worth.
    most : int, optional
        How many are tried at most; the targets that lose most by another train come first.
    least_gain : float
        A trial must be better than the best before it by this share.
    """
    values: dict[Assignment, float] = {}
    best: Assignment = ()

    def attempt(trial: Assignment) -> None:
        nonlocal best
        if trial in values or (most is not None and len(values) >= most):
            return
        values[trial] = value(trial)
        if not best or values[trial] > values[best] * (1.0 + least_gain):
            best = trial

    for train in trains:
        attempt(tuple(kept or train for kept in fixed))
    attempt(
        tuple(kept or ranking.best.train for kept, ranking in zip(fixed, rankings, strict=True))
    )
    if len(rankings) == 1:
        return Assignments(best, values)
    free = [number for number, kept in enumerate(fixed) if kept is None]
    for number in sorted(free, key=lambda number: _second(rankings[number])):
        score = {fit.train: fit.score for fit in rankings[number].fits}
        for train in trains:
            others = (*best[:number], *best[number + 1 :])
            if train in others or score[train] > score[best[number]]:
                attempt((*best[:number], train, *best[number + 1 :]))
    return Assignments(best, values)


def _second(ranking: TrainRanking) -> float:
    """Score of the second train as a share of the best; 1 where there is but one."""
    if len(ranking.fits) < 2 or ranking.best.score <= 0.0:
        return 1.0
    return ranking.fits[1].score / ranking.best.score
