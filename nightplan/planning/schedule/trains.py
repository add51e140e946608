"""The night's train; or a train for each target, where a change in the night is allowed.

What is gathered through one train does not add to what another brings, so a target is shot
through one train a night. Where the targets disagree about the best one, assignments of trains to
targets are tried: each is solved in a hurry with what its changes cost, every target's priority
times how well its train suits it (the score of the train ÷ that of its best). The plan proper
then knows the priorities alone; its bound is true of the schedules that shoot each target through
its train.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from nightplan.model.goals import goal_for
from nightplan.planning.choosing.train_assignment import Assignments, best_assignment
from nightplan.planning.choosing.train_choice import (
    NightTrain,
    TrainRanking,
    choose_night_train,
    one_train,
    rank_trains,
    train_losses,
)
from nightplan.planning.schedule.night_problem import night_problem
from nightplan.planning.schedule.schedule import Schedule, empty_schedule, evaluate
from nightplan.planning.schedule.solver import solve

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.framing.framing import Framing
    from nightplan.planning.returning.earlier_nights import EarlierNights
    from nightplan.planning.schedule.problem import Problem
    from nightplan.planning.tonight.night import Night
    from nightplan.planning.tonight.setup_timeline import SetupTimeline

MOST_TRIALS = 8
TRIAL_S = 1.5
LEAST_GAIN = 0.003
"""Trials in a hurry are about as sure as that; of equals one train for all is the simpler."""


def trains_and_framings(
    config: Config,
    night: Night,
    targets: Sequence[Target],
    setup: SetupTimeline,
    earlier: EarlierNights,
) -> tuple[NightTrain, tuple[Framing, ...]]:
    """The night's train, and how each target is framed in the train that it is shot with.

    One train over all targets, weighted by their priority, unless a change is allowed. What a
    target was begun with counts.
    """
    if not targets:
        first = next(iter(config.train))
        return NightTrain(first, "No target to choose a train for.", ()), ()
    rankings = [
        rank_trains(
            config,
            target,
            used_angles={
                train: earlier.used_angles.get((target.name, train), ()) for train in config.train
            },
            flats_angles=earlier.flats_angles,
        )
        for target in targets
    ]
    if config.preferences.allow_train_change and night.window_utc_mjd is not None:
        found = _assignments(config, night, targets, rankings, setup, earlier)
        chosen = _told(rankings, found)
        trains = found.best
    else:
        goals = [goal_for(config, target) for target in targets]
        weights = [1.0 if goal is None else goal.priority for goal in goals]
        begun = [earlier.begun_train(target.name, config.train) for target in targets]
        chosen = choose_night_train(rankings, weights, begun)
        trains = (chosen.train,) * len(targets)
    framings = [ranking.of(train).framing for ranking, train in zip(rankings, trains, strict=True)]
    return chosen, tuple(framings)


def _assignments(
    config: Config,
    night: Night,
    targets: Sequence[Target],
    rankings: Sequence[TrainRanking],
    setup: SetupTimeline,
    earlier: EarlierNights,
) -> Assignments:
    fixed = [earlier.begun_train(target.name, config.train) for target in targets]
    own = tuple(kept or ranking.best.train for kept, ranking in zip(fixed, rankings, strict=True))
    if len(set(own)) == 1:
        # All agree: a change could only cost.
        return Assignments(own, {})

    def gain(trains: Sequence[str]) -> float:
        fits = [ranking.of(train) for ranking, train in zip(rankings, trains, strict=True)]
        framings = [fit.framing for fit in fits]
        problem = night_problem(config, night, targets, framings, setup, earlier).problem
        merit = {
            ranking.target: fit.score / ranking.best.score if ranking.best.score > 0.0 else 1.0
            for ranking, fit in zip(rankings, fits, strict=True)
        }
        pointings = tuple(
            replace(pointing, priority=pointing.priority * merit[pointing.target])
            for pointing in problem.pointings
        )
        problem = replace(problem, pointings=pointings)
        idle = evaluate(problem, empty_schedule(problem)).value
        return solve(problem, TRIAL_S).objective - idle

    trains = tuple(config.train)
    return best_assignment(trains, rankings, fixed, gain, MOST_TRIALS, LEAST_GAIN)


def _told(rankings: Sequence[TrainRanking], found: Assignments) -> NightTrain:
    first, alone = found.best[0], found.best_of_one
    if len(set(found.best)) == 1:
        chosen = one_train(rankings, first)
        if found.values:
            mixed = max(v for one, v in found.values.items() if len(set(one)) > 1)
            lost = 100.0 * (1.0 - mixed / found.values[found.best])
            less = f"{lost:.0f} % less" if lost >= 0.5 else "nothing"
            chosen = replace(
                chosen,
                reason=f"{chosen.reason} A change of train in the night was weighed: with what it "
                f"costs the plan would gain {less}.",
            )
        return chosen
    if alone is None:
        reason = "Each target goes on with the train that it was begun with."
    else:
        more = 100.0 * (found.values[found.best] / alone - 1.0) if alone > 0.0 else 100.0
        reason = (
            "Counted by how well each train suits its targets, and with what the change costs, "
            f"the plan gains {more:.0f} % more than with one train for all."
        )
    return NightTrain(first, reason, train_losses(rankings, found.best))


def as_scheduled(chosen: NightTrain, problem: Problem, schedule: Schedule) -> NightTrain:
    """The night's train once it is known what is shot: the one that the night begins with."""
    used = list(dict.fromkeys(problem.tasks[block.task].train for block in schedule.blocks))
    if not used:
        return chosen
    if len({task.train for task in problem.tasks}) == 1:
        return replace(chosen, train=used[0])
    shot = {train: dict.fromkeys(
        problem.pointings[block.pointing].target
        for block in schedule.blocks
        if problem.tasks[block.task].train == train
    ) for train in used}  # fmt: skip
    told = ", then ".join(f"{train} for {' and '.join(shot[train])}" for train in used)
    if len(used) == 1:
        others = [name for name in problem.targets if name not in shot[used[0]]]
        told += f"; {', '.join(others)} of another train gets no time tonight"
    return replace(chosen, train=used[0], reason=f"{told}. {chosen.reason}")
