"""The rows of a campaign: every wanted filter of every target, in the train that the target keeps.

Hours gathered with one train do not add to those of another, so each target keeps one train
through the campaign; the nights share themselves out over the trains.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from nightplan.model.goals import goal_for
from nightplan.planning.campaign.policy import Rows
from nightplan.planning.photons.goals import wanted_filters
from nightplan.planning.schedule.night_problem import overheads
from nightplan.planning.schedule.problem import Overheads, Pointing, Problem, Task

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.choosing.train_choice import TrainRanking
    from nightplan.planning.returning.earlier_nights import EarlierNights
    from nightplan.planning.tonight.night import Night

_HOUR_S = 3600.0


def campaign_rows(
    config: Config,
    night: Night,
    targets: Sequence[Target],
    rankings: Sequence[TrainRanking],
    trains: Sequence[str],
    earlier: EarlierNights,
) -> Rows:
    """Rows of targets, each in the train given for it.

    Parameters
    ----------
    night : Night
        Any that has a window, for the interval between focus runs.
    rankings : sequence of TrainRanking
        How each train frames each target, in their order.
    trains : sequence of str
        The train of each target.
    """
    names = list(config.train)
    filters = list(config.filter)
    target_of, filter_of, train_of = [], [], []
    goal_h, gathered_h, weight, priority = [], [], [], []
    for index, (target, ranking, train) in enumerate(zip(targets, rankings, trains, strict=True)):
        panels = len(ranking.of(train).framing.panels)
        goal = goal_for(config, target)
        own = wanted_filters(config, target, train)
        for item in own:
            target_of.append(index)
            filter_of.append(filters.index(item.filter))
            train_of.append(names.index(train))
            goal_h.append(item.goal_h * panels)
            gathered_h.append(
                sum(
                    min(item.goal_h, earlier.gathered_h(target.name, panel, item.filter, train))
                    for panel in range(1, panels + 1)
                )
            )
            priority.append(1.0 if goal is None else goal.priority)
            weight.append(priority[-1] / len(own))
    rows = Rows(
        target=np.array(target_of, dtype=np.intp),
        filter=np.array(filter_of, dtype=np.intp),
        train=np.array(train_of, dtype=np.intp),
        goal_h=np.array(goal_h),
        gathered_h=np.array(gathered_h),
        weight=np.array(weight),
        priority=np.array(priority),
        change_h=np.zeros((len(goal_h) + 2, len(goal_h))),
    )
    for train in set(trains):
        mine = np.flatnonzero(rows.train == names.index(train))
        rules = overheads(config, night, train)
        angles = [ranking.of(train).framing.image_up_angle_deg for ranking in rankings]
        _fill_changes(config, rows, mine, rules, angles)
    return rows


def _fill_changes(
    config: Config,
    rows: Rows,
    mine: np.ndarray,
    rules: Overheads,
    image_up_angle_deg: Sequence[float],
) -> None:
    """Hours that each change costs, by the rules of the plan of one night; an angle a target."""
    names = list(config.filter)
    grid = np.zeros(1)
    tasks = tuple(
        Task(
            pointing=int(rows.target[row]),
            filter=names[rows.filter[row]],
            train="",
            gain="",
            sub_s=1.0,
            worth=grid,
            usable=grid > 0.0,
            goal_h=1.0,
            focus_offset_known=config.filter[names[rows.filter[row]]].focus_offset_steps
            is not None,
        )
        for row in mine
    )
    places = tuple(
        Pointing(str(number), 1, 0.0, 0.0, 0.0, angle_deg, 0.0)
        for number, angle_deg in enumerate(image_up_angle_deg)
    )
    problem = Problem(0.0, 0.0, 0.0, 0.0, grid, places, tasks, (), rules)
    for after, row in enumerate(mine):
        for before, other in enumerate(mine):
            if before != after:
                lead = problem.lead_s(before, after)
                rows.change_h[other, row] = sum(seconds for _, seconds in lead) / _HOUR_S
        rows.change_h[-1, row] = sum(s for _, s in problem.lead_s(None, after)) / _HOUR_S
