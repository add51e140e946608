"""The night's plan: targets, trains, framings, and the schedule with its proof."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from nightplan.errors import InputError
from nightplan.model.filters import must_choose, with_filters
from nightplan.planning.choosing.night_targets import (
    Candidates,
    candidates,
    named_targets,
    wanted_targets,
)
from nightplan.planning.choosing.train_choice import NightTrain
from nightplan.planning.framing.framing import Framing
from nightplan.planning.framing.subject_hours import with_subject_hours
from nightplan.planning.framing.subjects import subject_members
from nightplan.planning.returning.earlier_nights import EarlierNights, with_configured
from nightplan.planning.schedule.kept_framing import kept_framings, kept_train
from nightplan.planning.schedule.night_problem import NightProblem, night_problem
from nightplan.planning.schedule.plan_reading import check_same_rig
from nightplan.planning.schedule.replan import Replan, with_past
from nightplan.planning.schedule.solver import Solution, solve
from nightplan.planning.tonight.setup_timeline import SetupTimeline, setup_timeline
from nightplan.planning.tonights_plan.decision import Decision, decide, kept_curves
from nightplan.planning.tonights_plan.loading import FilterChoice, choose_loading
from nightplan.planning.tonights_plan.trains import as_scheduled

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.tonight.night import Night

MOST_NAMED = 40
SOLVE_S = 5.0
REPLAN_S = 1.5


@dataclass(frozen=True, eq=False)
class NightPlan:
    """Everything that was decided for one night, and what it was decided from.

    `posed` and `solution` are None for a night without a window or without targets;
    `empty_reason` then says why. `replanned` says that it is the rest of a night, from
    `posed.problem.now_s` on. `subjects` names, by target, what else of note its framing holds.
    """

    config: Config
    night: Night
    decision: Decision
    setup: SetupTimeline
    posed: NightProblem | None
    solution: Solution | None
    empty_reason: str | None
    notices: tuple[str, ...]
    replanned: bool = False
    loading: tuple[FilterChoice, ...] = ()
    """Owned filters where there are more than the wheel carries; else empty."""
    subjects: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def targets(self) -> tuple[Target, ...]:
        """Tonight's targets."""
        return self.decision.targets

    @property
    def train(self) -> NightTrain:
        """The train that the night begins with."""
        return self.decision.train

    @property
    def framings(self) -> tuple[Framing, ...]:
        """How each target is framed in its train, in the order of `targets`."""
        return self.decision.framings

    def framing(self, target: str) -> Framing:
        """The framing of a target in its train tonight. Raises KeyError for another target."""
        for framing in self.framings:
            if framing.target == target:
                return framing
        raise KeyError(target)


def plan_in_force(
    config: Config, night: Night, catalog: Catalog, kept: Mapping[str, Any], source: str
) -> NightPlan:
    """The frame of a plan document as it stands: its targets, train and framings, nothing solved.

    Raises
    ------
    TargetError
        A target is unknown now.
    InputError
        The plan is of another site or rig, or its train is gone.
    """
    check_same_rig(config, kept, source)
    names = tuple(row["target"] for row in kept["targets"])
    targets = named_targets(catalog, names) if names else ()
    framings = kept_framings(config, targets, kept, source, EarlierNights())
    empty = kept.get("blocks_reason")
    return NightPlan(
        config,
        night,
        Decision(targets, framings, kept_train(targets, kept), kept_curves(kept)),
        setup_timeline(config, night),
        None,
        None,
        None if empty is None else str(empty),
        tuple(kept.get("notices", ())),
        kept.get("from_utc") is not None,
        subjects=_subjects(config, catalog, targets, framings),
    )


def make_plan(
    config: Config,
    night: Night,
    catalog: Catalog,
    names: Sequence[str] = (),
    *,
    earlier: EarlierNights | None = None,
    again: Replan | None = None,
    solve_s: float | None = None,
) -> NightPlan:
    """Plan one night.

    Parameters
    ----------
    names : sequence of str
        Targets to plan; else `preferences.targets`, else the best of the catalogue tonight.
    earlier : EarlierNights, optional
        What earlier nights gathered and how they framed.
    again : Replan, optional
        Plan the rest of the night only.
    solve_s : float, optional
        Last resort for the solver's clock; its work is bounded by counts.

    Raises
    ------
    TargetError
        A name is unknown or ambiguous.
    InputError
        More targets than a night can hold are named, or `again` does not fit.
    """
    asked = (*named_targets(catalog, names), *wanted_targets(config, catalog, {}))
    earlier = with_subject_hours(config, catalog, earlier or EarlierNights(), asked)
    setup = setup_timeline(config, night)
    loading: tuple[FilterChoice, ...] = ()
    if must_choose(config):
        loading = _loading(config, night, catalog, names, earlier, again)
        config = with_filters(config, [one.filter for one in loading if one.loaded])
    if again is not None and again.plan is not None:
        decision = _in_force(config, catalog, names, again, earlier)
    else:
        decision = _decision(config, night, catalog, names, earlier)
    targets = decision.targets
    earlier = with_configured(config, earlier, targets)
    subjects = _subjects(config, catalog, targets, decision.framings)
    empty = None
    if night.window_utc_mjd is None:
        empty = "no_darkness"
    elif not targets:
        empty = "no_target_is_up"
    if empty is not None:
        return NightPlan(
            config,
            night,
            decision,
            setup,
            None,
            None,
            empty,
            night.notices,
            loading=loading,
            subjects=subjects,
        )
    posed = night_problem(
        config, night, targets, decision.framings, setup, earlier, decision.curves, decision.barred
    )
    past: list[str] = []
    if again is not None:
        problem, past = with_past(posed.problem, again)
        posed = replace(posed, problem=problem)
    limit = solve_s if solve_s is not None else (SOLVE_S if again is None else REPLAN_S)
    solution = solve(posed.problem, limit)
    reason = None
    if not solution.schedule.blocks:
        reason = "; ".join(solution.limits) or "nothing_fits"
    return NightPlan(
        config,
        night,
        replace(decision, train=as_scheduled(decision.train, posed.problem, solution.schedule)),
        setup,
        posed,
        solution,
        reason,
        (*night.notices, *_rig_notice(earlier), *past, *solution.notes),
        again is not None,
        loading,
        subjects,
    )


def _subjects(
    config: Config, catalog: Catalog, targets: Sequence[Target], framings: Sequence[Framing]
) -> dict[str, tuple[str, ...]]:
    return {
        target.name: tuple(one.name for one in subject_members(config, catalog, target, framing))
        for target, framing in zip(targets, framings, strict=True)
    }


def _rig_notice(earlier: EarlierNights) -> tuple[str, ...]:
    if not earlier.other_rig:
        return ()
    return (
        "the journal also holds hours of a rig whose telescope or camera differs from the "
        "configuration's; they are not counted for this one",
    )


def _loading(
    config: Config,
    night: Night,
    catalog: Catalog,
    names: Sequence[str],
    earlier: EarlierNights,
    again: Replan | None,
) -> tuple[FilterChoice, ...]:
    """What the plan in force has in the wheel, for nobody opens it in the dark; else a proposal."""
    kept = None if again is None or again.plan is None else again.plan.get("loading")
    if kept:
        return tuple(FilterChoice(row["filter"], row["loaded"], row["worth_h"]) for row in kept)
    targets = _candidates(config, night, catalog, names, earlier).targets
    return choose_loading(config, night, targets, with_configured(config, earlier, targets))


def _candidates(
    config: Config,
    night: Night,
    catalog: Catalog,
    names: Sequence[str],
    earlier: EarlierNights,
) -> Candidates:
    """Targets that a night may serve, and which of them the imager asked for."""
    if not names:
        return candidates(config, [night], catalog, earlier.by_filter())
    found = Candidates.named(named_targets(catalog, names))
    if len(found.targets) > MOST_NAMED:
        raise InputError("plan", "targets", len(found.targets), f"at most {MOST_NAMED} targets")
    return found


def _decision(
    config: Config,
    night: Night,
    catalog: Catalog,
    names: Sequence[str],
    earlier: EarlierNights,
) -> Decision:
    """Targets, train, framings and curves of a night that is planned whole."""
    found = _candidates(config, night, catalog, names, earlier)
    return decide(config, night, found, with_configured(config, earlier, found.targets))


def _in_force(
    config: Config,
    catalog: Catalog,
    names: Sequence[str],
    again: Replan,
    earlier: EarlierNights,
) -> Decision:
    """Targets, train, framings and curves of the plan in force, all as it has them."""
    assert again.plan is not None
    check_same_rig(config, again.plan, again.source)
    kept = tuple(dict.fromkeys(row["target"] for row in again.plan.get("targets", ())))
    targets = named_targets(catalog, tuple(names) or kept)
    framings = kept_framings(config, targets, again.plan, again.source, earlier)
    return Decision(targets, framings, kept_train(targets, again.plan), kept_curves(again.plan))
