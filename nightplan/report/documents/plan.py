"""The document of `nightplan plan` and `nightplan demo`: the night's blocks and their ledger."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from nightplan.dates import DAY_S
from nightplan.model.filter_roles import Purpose
from nightplan.planning.ahead.prices import NightPrice
from nightplan.planning.photons.filter_budget import filter_budgets
from nightplan.planning.photons.goals import GoalOrigin
from nightplan.planning.photons.recipes import RecipeReason
from nightplan.planning.schedule.changes import changes
from nightplan.planning.schedule.image_up import image_ups_deg, turn_of
from nightplan.planning.schedule.schedule import LEDGER_KINDS, ledger_min
from nightplan.planning.tonights_plan.plan import NightPlan
from nightplan.report.documents.base import Day, Document, To3, To4, To6, Utc
from nightplan.report.documents.exposure import ShortSetRow, SubBreak, short_set_row, sub_breaks
from nightplan.report.documents.frame import PanelPlace
from nightplan.sky.times import utc_iso

if TYPE_CHECKING:
    from typing import Any

    from nightplan.model.target import Target
    from nightplan.planning.schedule.blocks import Block, Event, Schedule
    from nightplan.planning.schedule.problem import Problem


class PlanBlock(Document):
    """A run of equal subs, with their downloads and dithers, of one target and filter."""

    target: str
    panel: int
    ra_deg: To6
    dec_deg: To6
    position_angle_deg: float
    image_up_angle_deg: float
    train: str
    filter: str
    gain: str
    start_utc: Utc
    end_utc: Utc
    sub_s: float
    count: int
    short_set: bool
    why: str


class PlanEvent(Document):
    """What happens between blocks: focus, filter change, slew and centring, flip, turn of the
    camera, flats, set-up, idle."""

    kind: str
    target: str | None
    target_reason: str | None = None
    start_utc: Utc
    end_utc: Utc
    from_image_up_deg: float | None = None
    from_image_up_deg_reason: str | None = None
    to_image_up_deg: float | None = None
    to_image_up_deg_reason: str | None = None


class ProgressRow(Document):
    """How far one filter of one target (panel) is, in equivalent hours and on the clock.

    Of a filter whose subs count for several pictures there is a row for each; `through` are the
    filters that bring the row hours.
    """

    target: str
    panel: int
    filter: str
    short_set: bool
    sub_s: float
    through: list[str]
    priority: float
    goal_h: float
    gathered_h: float
    tonight_h: float
    tonight_clock_h: float
    value_curve: list[tuple[float, float]]


class RecipeRow(Document):
    """What a target's picture is made of, and where its goal comes from."""

    name: str
    chosen_by: RecipeReason
    shares: dict[str, To4]
    through: dict[str, str]
    purposes: dict[str, Purpose]
    leading: str
    goal_h: float
    goal_from: GoalOrigin
    hours_to_snr: float | None
    hours_to_snr_reason: str | None = None
    wanted_snr: float
    reached_snr: float
    short_set: ShortSetRow | None
    short_set_reason: str | None = None


class PriceRow(Document):
    """What makes tonight's hours of some filters dear, or lets them wait.

    `reason`: `best_until` (no night before `date` offers as much), `no_better_ahead`,
    `season_ends` (after `date` the target is out of reach), `keeps_in_moonlight` (left for later;
    moonlit nights bring `share` of the best).
    """

    target: str
    filters: list[str]
    reason: str
    date: Day | None
    date_reason: str | None = None
    share: To4 | None
    share_reason: str | None = None


class SetupStepRow(Document):
    """One step of setting up before the window."""

    name: str
    start_utc: Utc
    end_utc: Utc


class FramedTarget(Document):
    """One of tonight's targets with its framing in the chosen train, and what that train costs."""

    target: str
    subject: list[str] | None
    subject_reason: str | None = None
    common_name: str
    kind: str
    train: str
    position_angle_deg: float
    image_up_angle_deg: float
    position_angle_tolerance_deg: float
    coverage: float
    margin_arcmin: float
    ra_deg: float
    dec_deg: float
    panels: int
    mosaic_columns: int
    mosaic_rows: int
    fields: list[PanelPlace]
    mirrored: bool
    reason: str
    train_loss: str
    train_loss_share: float
    best_train: str
    filters: list[str]


class LoadedFilter(Document):
    """An owned filter, whether it should be in the wheel tonight, and what that is worth."""

    filter: str
    loaded: bool
    worth_h: To3


class PlanDocument(Document):
    """One night's plan."""

    site: str
    rig: str
    timezone: str
    date: Day
    train: str
    train_reason: str
    window_kind: str
    window_start_utc: Utc | None
    window_start_utc_reason: str | None = None
    window_end_utc: Utc | None
    window_end_utc_reason: str | None = None
    from_utc: Utc | None = None
    from_utc_reason: str | None = None
    changes: list[str]
    targets: list[FramedTarget]
    blocks: list[PlanBlock]
    blocks_reason: str | None = None
    left_out: list[str]
    not_tonight: list[str]
    prices: list[PriceRow]
    fillers: list[str]
    loading: list[LoadedFilter]
    recipes: dict[str, RecipeRow]
    sub_breaks: list[SubBreak]
    events: list[PlanEvent]
    ledger: dict[str, float]
    bound: float
    objective: float
    gap_percent: float
    bound_holds_for: str
    solve_s: To3
    change_cost: float
    progress: list[ProgressRow]
    setup: list[SetupStepRow]
    notices: list[str]


def plan_document(plan: NightPlan) -> PlanDocument:
    """Put a night's plan into its document."""
    night = plan.night
    dark = None if night.window_utc_mjd else "no_darkness"
    return PlanDocument.of(
        night,
        site=night.site.name,
        rig=plan.config.rig_name,
        timezone=night.site.timezone,
        date=night.evening,
        train=plan.train.train,
        train_reason=plan.train.reason,
        window_start_utc_reason=dark,
        window_end_utc_reason=dark,
        targets=[_framed(plan, target) for target in plan.targets],
        setup=[SetupStepRow.of(step) for step in plan.setup.steps],
        recipes={}
        if plan.posed is None
        else {target.name: _recipe(plan, target) for target in plan.targets},
        sub_breaks=_breaks(plan),
        not_tonight=plan.decision.not_tonight,
        prices=[_price(price) for price in plan.decision.prices],
        fillers=sorted(plan.decision.fillers),
        loading=[LoadedFilter.of(one) for one in plan.loading],
        notices=plan.notices,
        blocks_reason=plan.empty_reason,
        **_schedule(plan),
    )


def _schedule(plan: NightPlan) -> dict[str, Any]:
    """What is done when, and its proof; of a night without a schedule nothing."""
    if plan.posed is None or plan.solution is None:
        idle = {kind: 0.0 for kind in LEDGER_KINDS if kind not in ("turn", "flats")}
        figures = ("bound", "objective", "gap_percent", "solve_s", "change_cost")
        return {
            **dict.fromkeys(figures, 0.0),
            **{key: [] for key in ("blocks", "events", "progress", "changes", "left_out")},
            "bound_holds_for": "whole_subs",
            "from_utc_reason": "no_schedule",
            "ledger": {**idle, "idle": 60.0 * plan.night.window_hours},
        }
    problem, solution = plan.posed.problem, plan.solution
    schedule = solution.schedule
    ups = image_ups_deg(problem, schedule.blocks)
    blocks = zip(schedule.blocks, ups, strict=True)
    events = [_event(problem, schedule, ups, event) for event in schedule.events]
    return {
        "from_utc": _utc(problem, problem.now_s) if plan.replanned else None,
        "from_utc_reason": None if plan.replanned else "planned_whole",
        "changes": changes(problem, schedule),
        "blocks": [_block(problem, block, up) for block, up in blocks],
        "left_out": solution.limits,
        # A sliver of idle time has no length in whole seconds; the ledger holds it.
        "events": [row for row in events if row.kind != "idle" or row.start_utc != row.end_utc],
        "ledger": _ledger(problem, schedule),
        "bound": solution.bound,
        "objective": solution.objective,
        "gap_percent": solution.gap_percent,
        "bound_holds_for": solution.bound_holds_for,
        "solve_s": solution.solve_s,
        "change_cost": solution.evaluation.change_cost,
        "progress": [
            ProgressRow.of(
                row,
                short_set=row.short,
                value_curve=list(zip(row.curve.hours_h, row.curve.value, strict=True)),
            )
            for row in solution.evaluation.progress
        ],
    }


def _utc(problem: Problem, seconds: float) -> str:
    return utc_iso(problem.epoch_utc_mjd + seconds / DAY_S)


def _block(problem: Problem, block: Block, up: float | None) -> PlanBlock:
    task, pointing = problem.tasks[block.task], problem.pointings[block.pointing]
    return PlanBlock.of(
        pointing,
        image_up_angle_deg=0.0 if up is None else up,
        train=task.train,
        filter=task.filter,
        gain=task.gain,
        start_utc=_utc(problem, block.start_s),
        end_utc=_utc(problem, block.end_s),
        sub_s=block.sub_s,
        count=block.count,
        short_set=task.short,
        why=block.why,
    )


def _breaks(plan: NightPlan) -> list[SubBreak]:
    trains = dict.fromkeys(framing.train for framing in plan.framings)
    return [
        row for train in trains for row in sub_breaks(train, filter_budgets(plan.config, train))
    ]


def _recipe(plan: NightPlan, target: Target) -> RecipeRow:
    assert plan.posed is not None
    goal, short = plan.posed.goals[target.name], plan.posed.short_sets.get(target.name)
    reachable = math.isfinite(goal.lead_h)
    return RecipeRow.of(
        goal,
        name=goal.recipe.name,
        chosen_by=goal.recipe.reason,
        shares={item.filter: item.share for item in goal.wanted},
        through={item.filter: plan.config.channel[item.filter].filter for item in goal.wanted},
        purposes={part.filter: part.purpose for part in goal.recipe.parts},
        leading=goal.recipe.leading,
        goal_h=goal.hours,
        goal_from=goal.origin,
        hours_to_snr=goal.lead_h if reachable else None,
        hours_to_snr_reason=None if reachable else "no_light_in_this_filter",
        short_set=short_set_row(short),
        short_set_reason="no_core_saturates" if short is None else None,
    )


def _ledger(problem: Problem, schedule: Schedule) -> dict[str, float]:
    """Minutes by kind; of turns and flats only where the night has any."""
    minutes = ledger_min(problem, schedule)
    return {
        kind: value for kind, value in minutes.items() if value or kind not in ("turn", "flats")
    }


def _price(price: NightPrice) -> PriceRow:
    return PriceRow.of(
        price,
        reason=price.code,
        date_reason="no_date" if price.date is None else None,
        share_reason="not_asked" if price.share is None else None,
    )


def _event(
    problem: Problem, schedule: Schedule, ups: list[float | None], event: Event
) -> PlanEvent:
    """An event, with image up before and after where the camera is turned."""
    before, after = (None, None)
    if event.kind == "turn":
        before, after = turn_of(problem, schedule, ups, event)
    reason = "unknown" if event.kind == "turn" else "no_turn"
    return PlanEvent(
        kind=event.kind,
        target=None if event.pointing is None else problem.pointings[event.pointing].target,
        target_reason="no_target" if event.pointing is None else None,
        start_utc=_utc(problem, event.start_s),
        end_utc=_utc(problem, event.end_s),
        from_image_up_deg=before,
        from_image_up_deg_reason=reason if before is None else None,
        to_image_up_deg=after,
        to_image_up_deg_reason=reason if after is None else None,
    )


def _framed(plan: NightPlan, target: Target) -> FramedTarget:
    name = target.name
    framing = plan.framing(name)
    wanted = plan.posed.goals[name].wanted if plan.posed is not None else ()
    loss = next((loss for loss in plan.train.losses if loss.target == name), None)
    members = plan.subjects.get(name, ())
    return FramedTarget.of(
        framing,
        target=name,
        subject=[name, *members] if members else None,
        subject_reason=None if members else "stands_alone",
        common_name=target.common_names[0] if target.common_names else "",
        kind=target.kind,
        panels=len(framing.panels),
        fields=[PanelPlace.of(panel) for panel in framing.panels],
        mirrored=plan.config.train[framing.train].mirrored,
        train_loss="" if loss is None else loss.reason,
        train_loss_share=0.0 if loss is None else loss.share,
        best_train=framing.train if loss is None else loss.best_train,
        filters=list(dict.fromkeys(plan.config.channel[item.filter].filter for item in wanted)),
    )
