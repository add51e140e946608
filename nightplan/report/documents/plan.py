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
from nightplan.report.documents.base import Document
from nightplan.report.documents.exposure import ShortSetRow, SubBreak, short_set_row, sub_breaks
from nightplan.report.documents.frame import PanelPlace
from nightplan.sky.times import utc_iso

if TYPE_CHECKING:
    from typing import Any

    from nightplan.model.target import Target
    from nightplan.planning.schedule.blocks import Event, Schedule
    from nightplan.planning.schedule.problem import Problem


class PlanBlock(Document):
    """A run of equal subs, with their downloads and dithers, of one target and filter."""

    target: str
    panel: int
    ra_deg: float
    dec_deg: float
    position_angle_deg: float
    image_up_angle_deg: float
    train: str
    filter: str
    gain: str
    start_utc: str
    end_utc: str
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
    start_utc: str
    end_utc: str
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
    shares: dict[str, float]
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
    date: str | None
    date_reason: str | None = None
    share: float | None
    share_reason: str | None = None


class SetupStepRow(Document):
    """One step of setting up before the window."""

    name: str
    start_utc: str
    end_utc: str


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
    worth_h: float


class PlanDocument(Document):
    """One night's plan."""

    site: str
    rig: str
    timezone: str
    date: str
    train: str
    train_reason: str
    window_kind: str
    window_start_utc: str | None
    window_start_utc_reason: str | None = None
    window_end_utc: str | None
    window_end_utc_reason: str | None = None
    from_utc: str | None = None
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
    solve_s: float
    change_cost: float
    progress: list[ProgressRow]
    setup: list[SetupStepRow]
    notices: list[str]


def plan_document(plan: NightPlan) -> PlanDocument:
    """Put a night's plan into its document."""
    night, window = plan.night, plan.night.window_utc_mjd
    base = {
        "site": night.site.name,
        "rig": plan.config.rig_name,
        "timezone": night.site.timezone,
        "date": night.evening.isoformat(),
        "train": plan.train.train,
        "train_reason": plan.train.reason,
        "window_kind": night.window_kind,
        "window_start_utc": None if window is None else utc_iso(window[0]),
        "window_end_utc": None if window is None else utc_iso(window[1]),
        "window_start_utc_reason": "no_darkness" if window is None else None,
        "window_end_utc_reason": "no_darkness" if window is None else None,
        "targets": [_framed(plan, target.name) for target in plan.targets],
        "setup": [
            SetupStepRow(
                name=step.name,
                start_utc=utc_iso(step.start_utc_mjd),
                end_utc=utc_iso(step.end_utc_mjd),
            )
            for step in plan.setup.steps
        ],
        "recipes": {}
        if plan.posed is None
        else {target.name: _recipe(plan, target) for target in plan.targets},
        "sub_breaks": _breaks(plan),
        "not_tonight": list(plan.decision.not_tonight),
        "prices": [_price(price) for price in plan.decision.prices],
        "fillers": sorted(plan.decision.fillers),
        "loading": [
            LoadedFilter(filter=one.filter, loaded=one.loaded, worth_h=round(one.worth_h, 3))
            for one in plan.loading
        ],
        "notices": list(plan.notices),
        "blocks_reason": plan.empty_reason,
    }
    if plan.posed is None or plan.solution is None:
        idle = {kind: 0.0 for kind in LEDGER_KINDS if kind not in ("turn", "flats")}
        idle["idle"] = 60.0 * night.window_hours
        nothing = {
            "bound": 0.0,
            "objective": 0.0,
            "gap_percent": 0.0,
            "bound_holds_for": "whole_subs",
            "solve_s": 0.0,
            "change_cost": 0.0,
        }
        lists: dict[str, object] = {"blocks": [], "events": [], "progress": [], "changes": []}
        lists["left_out"] = []
        lists["from_utc_reason"] = "no_schedule"
        return PlanDocument.model_validate({**base, **nothing, **lists, "ledger": idle})
    problem, solution = plan.posed.problem, plan.solution
    schedule = solution.schedule

    def utc(seconds: float) -> str:
        return utc_iso(problem.epoch_utc_mjd + seconds / DAY_S)

    blocks = []
    ups = image_ups_deg(problem, schedule.blocks)
    for block, up in zip(schedule.blocks, ups, strict=True):
        task, pointing = problem.tasks[block.task], problem.pointings[block.pointing]
        blocks.append(
            PlanBlock(
                target=pointing.target,
                panel=pointing.panel,
                ra_deg=round(pointing.ra_deg, 6),
                dec_deg=round(pointing.dec_deg, 6),
                position_angle_deg=pointing.position_angle_deg,
                image_up_angle_deg=0.0 if up is None else up,
                train=task.train,
                filter=task.filter,
                gain=task.gain,
                start_utc=utc(block.start_s),
                end_utc=utc(block.end_s),
                sub_s=block.sub_s,
                count=block.count,
                short_set=task.short,
                why=block.why,
            )
        )
    events = [
        PlanEvent(
            kind=event.kind,
            target=None if event.pointing is None else problem.pointings[event.pointing].target,
            target_reason="no_target" if event.pointing is None else None,
            start_utc=utc(event.start_s),
            end_utc=utc(event.end_s),
            **_turn(problem, schedule, ups, event),
        )
        for event in schedule.events
        # A sliver of idle time has no length in whole seconds; the ledger holds it.
        if event.kind != "idle" or utc(event.start_s) != utc(event.end_s)
    ]
    return PlanDocument.model_validate(
        {
            **base,
            "from_utc": utc(problem.now_s) if plan.replanned else None,
            "from_utc_reason": None if plan.replanned else "planned_whole",
            "changes": changes(problem, schedule),
            "blocks": blocks,
            "left_out": list(solution.limits),
            "events": events,
            "ledger": _ledger(problem, schedule),
            "bound": solution.bound,
            "objective": solution.objective,
            "gap_percent": solution.gap_percent,
            "bound_holds_for": solution.bound_holds_for,
            "solve_s": round(solution.solve_s, 3),
            "change_cost": solution.evaluation.change_cost,
            "progress": [
                ProgressRow(
                    target=row.target,
                    panel=row.panel,
                    filter=row.filter,
                    short_set=row.short,
                    sub_s=row.sub_s,
                    through=list(row.through),
                    priority=row.priority,
                    goal_h=row.goal_h,
                    gathered_h=row.gathered_h,
                    tonight_h=row.tonight_h,
                    tonight_clock_h=row.tonight_clock_h,
                    value_curve=list(zip(row.curve.hours_h, row.curve.value, strict=True)),
                )
                for row in solution.evaluation.progress
            ],
        }
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
    return RecipeRow(
        name=goal.recipe.name,
        chosen_by=goal.recipe.reason,
        shares={item.filter: round(item.share, 4) for item in goal.wanted},
        through={item.filter: plan.config.channel[item.filter].filter for item in goal.wanted},
        purposes={part.filter: part.purpose for part in goal.recipe.parts},
        leading=goal.recipe.leading,
        goal_h=goal.hours,
        goal_from=goal.origin,
        hours_to_snr=goal.lead_h if reachable else None,
        hours_to_snr_reason=None if reachable else "no_light_in_this_filter",
        wanted_snr=goal.wanted_snr,
        reached_snr=goal.reached_snr,
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
    return PriceRow(
        target=price.target,
        filters=list(price.filters),
        reason=price.code,
        date=None if price.date is None else price.date.isoformat(),
        date_reason="no_date" if price.date is None else None,
        share=None if price.share is None else round(price.share, 4),
        share_reason="not_asked" if price.share is None else None,
    )


def _turn(
    problem: Problem, schedule: Schedule, ups: list[float | None], event: Event
) -> dict[str, Any]:
    """Image up before and after a turn of the camera; null with the reason of other events."""
    before, after = (None, None)
    if event.kind == "turn":
        before, after = turn_of(problem, schedule, ups, event)
    reason = "unknown" if event.kind == "turn" else "no_turn"
    return {
        "from_image_up_deg": before,
        "from_image_up_deg_reason": reason if before is None else None,
        "to_image_up_deg": after,
        "to_image_up_deg_reason": reason if after is None else None,
    }


def _framed(plan: NightPlan, name: str) -> FramedTarget:
    target = next(target for target in plan.targets if target.name == name)
    framing = plan.framing(name)
    wanted = plan.posed.goals[name].wanted if plan.posed is not None else ()
    loss = next((loss for loss in plan.train.losses if loss.target == name), None)
    members = plan.subjects.get(name, ())
    return FramedTarget(
        target=name,
        subject=[name, *members] if members else None,
        subject_reason=None if members else "stands_alone",
        common_name=target.common_names[0] if target.common_names else "",
        kind=target.kind,
        train=framing.train,
        position_angle_deg=framing.position_angle_deg,
        image_up_angle_deg=framing.image_up_angle_deg,
        position_angle_tolerance_deg=framing.position_angle_tolerance_deg,
        coverage=framing.coverage,
        margin_arcmin=framing.margin_arcmin,
        ra_deg=framing.ra_deg,
        dec_deg=framing.dec_deg,
        panels=len(framing.panels),
        mosaic_columns=framing.mosaic_columns,
        mosaic_rows=framing.mosaic_rows,
        fields=[
            PanelPlace(
                ra_deg=panel.ra_deg,
                dec_deg=panel.dec_deg,
                position_angle_deg=panel.position_angle_deg,
                image_up_angle_deg=panel.image_up_angle_deg,
            )
            for panel in framing.panels
        ],
        mirrored=plan.config.train[framing.train].mirrored,
        reason=framing.reason,
        train_loss="" if loss is None else loss.reason,
        train_loss_share=0.0 if loss is None else loss.share,
        best_train=framing.train if loss is None else loss.best_train,
        filters=list(dict.fromkeys(plan.config.channel[item.filter].filter for item in wanted)),
    )
