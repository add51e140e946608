"""How much of a target's goal a plan brings, over its filters and panels together."""

from __future__ import annotations

from dataclasses import dataclass

from nightplan.report.documents.plan import PlanDocument


@dataclass(frozen=True)
class GoalShare:
    """Shares of a target's goal, 0 to 1: before the night, and after it as planned."""

    target: str
    before: float
    after: float

    @property
    def tonight(self) -> float:
        """What the night adds."""
        return self.after - self.before


def goal_shares(plan: PlanDocument) -> list[GoalShare]:
    """Shares of each target that has a goal, in the order of the plan's progress.

    What a filter has beyond its own goal does not stand in for another filter.
    """
    sums: dict[str, list[float]] = {}
    for row in plan.progress:
        goal, before, after = sums.setdefault(row.target, [0.0, 0.0, 0.0])
        done = min(row.gathered_h, row.goal_h)
        then = min(row.gathered_h + row.tonight_h, row.goal_h)
        sums[row.target] = [goal + row.goal_h, before + done, after + then]
    return [
        GoalShare(name, before / goal, after / goal)
        for name, (goal, before, after) in sums.items()
        if goal > 0.0
    ]
