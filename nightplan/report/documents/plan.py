"""The document of `nightplan plan` and `nightplan demo`: the night's blocks and their ledger."""

from __future__ import annotations

from nightplan.report.documents.base import Document

LEDGER_KINDS = (
    "exposure",
    "download",
    "dither",
    "focus",
    "filter_change",
    "slew_centre",
    "flip",
    "setup",
    "idle",
)


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
    why: str


class PlanEvent(Document):
    """What happens between blocks: focus, filter change, slew and centring, flip, set-up, idle."""

    kind: str
    target: str | None
    target_reason: str | None = None
    start_utc: str
    end_utc: str


class ProgressRow(Document):
    """How far one filter of one target (panel) is, in equivalent hours and on the clock."""

    target: str
    panel: int
    filter: str
    priority: float
    goal_h: float
    gathered_h: float
    tonight_h: float
    tonight_clock_h: float


class SetupStepRow(Document):
    """One step of setting up before the window."""

    name: str
    start_utc: str
    end_utc: str


class FramedTarget(Document):
    """One of tonight's targets with its framing in the chosen train, and what that train costs."""

    target: str
    common_name: str
    kind: str
    train: str
    position_angle_deg: float
    image_up_angle_deg: float
    position_angle_tolerance_deg: float
    coverage: float
    margin_arcmin: float
    panels: int
    reason: str
    train_loss: str
    filters: list[str]


class PlanDocument(Document):
    """One night's plan."""

    site: str
    timezone: str
    date: str
    train: str
    train_reason: str
    window_kind: str
    window_start_utc: str | None
    window_start_utc_reason: str | None = None
    window_end_utc: str | None
    window_end_utc_reason: str | None = None
    targets: list[FramedTarget]
    blocks: list[PlanBlock]
    blocks_reason: str | None = None
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
