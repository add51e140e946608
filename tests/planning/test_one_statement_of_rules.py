"""A rule of the night is stated once: a rest after each flip, put into the lead alone, is kept by
plan, re-plan, bound and ledger."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from nightplan.planning.schedule.check import violations
from nightplan.planning.schedule.problem import Overheads, Problem
from nightplan.planning.schedule.rules import NightRules
from nightplan.planning.schedule.schedule import ledger_min
from nightplan.planning.schedule.solver import solve
from nightplan.planning.schedule.solving.resume import resume
from nightplan.planning.schedule.solving.search import Effort

EFFORT = Effort(tries=20_000, seeds=2, steps_s=(60.0, 20.0), paths=(30, 15))
REST_S = 600.0


@pytest.fixture
def night(invented_night) -> Problem:
    """One target over the meridian in the middle of six hours, always usable."""
    problem = invented_night(targets=1, filters=2, hours=6.0, seed=3, overheads=Overheads())
    tasks = tuple(
        replace(task, worth=np.ones_like(task.worth), usable=np.ones_like(task.usable))
        for task in problem.tasks
    )
    pointing = replace(problem.pointings[0], transit_s=3.0 * 3600.0)
    return replace(problem, tasks=tasks, pointings=(pointing,))


def test_a_rest_after_each_flip(night: Problem, monkeypatch: pytest.MonkeyPatch) -> None:
    before = solve(night, effort=EFFORT)
    stated = NightRules.lead

    def with_rest(self, *args, **more):
        steps = []
        for step in stated(self, *args, **more):
            steps += [step, ("idle", REST_S)] if step[0] == "flip" else [step]
        return steps

    monkeypatch.setattr(NightRules, "lead", with_rest)
    after = solve(night, effort=EFFORT)
    rest = resume(night, after.schedule, 2.0 * 3600.0)
    again = solve(rest, effort=EFFORT)
    for problem, solution in ((night, after), (rest, again)):
        schedule = solution.schedule
        assert violations(problem, schedule) == []
        (flip,) = [event for event in schedule.events if event.kind == "flip"]
        behind = next(e for e in schedule.events if e.start_s >= flip.end_s - 1e-6)
        assert (behind.kind, behind.end_s - behind.start_s) == ("idle", pytest.approx(REST_S))
        ledger = ledger_min(problem, schedule)
        assert ledger["idle"] >= REST_S / 60.0 - 1e-6
        assert sum(ledger.values()) == pytest.approx(problem.window_s / 60.0)
    # Ten minutes less of six hours: the bound falls below what the night without them brings.
    assert after.objective <= after.bound < before.objective
