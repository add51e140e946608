"""A plan's blocks, and what is done between them, in the order of the night."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from nightplan.number_forms import number
from nightplan.report.wording.local_time import moment
from nightplan.report.wording.words import event_words, panels_of

NEVER_JOINED = ("idle", "setup", "turn", "flats")
CLOSE = dt.timedelta(seconds=2)
SHORT_IDLE = dt.timedelta(seconds=60)


@dataclass(frozen=True)
class WorkItem:
    """One line of the night: a block of subs, or the events between two blocks.

    `block` is the plan document's row, and None for a run of events; `kinds` are the kinds of
    those events in their order. `told` are the words of an event that its kind alone does not
    tell: a change of train, a turn of the camera. `panel` is the one that a slew leads to, where
    the target has several. Times are ISO 8601 UTC.
    """

    start_utc: str
    end_utc: str
    target: str | None
    block: Mapping[str, Any] | None
    kinds: tuple[str, ...] = ()
    told: str = ""
    panel: int | None = None

    @property
    def words(self) -> str:
        """What is done between blocks: ``meridian flip, slew and centre, focus``."""
        return self.told or ", ".join(self._kind_words(kind) for kind in self.kinds)

    def _kind_words(self, kind: str) -> str:
        if kind == "slew_centre" and self.panel is not None:
            return f"slew to panel {self.panel} and centre"
        return event_words(kind)


def order_of_work(plan: Mapping[str, Any]) -> list[WorkItem]:
    """Blocks and events of a plan document in time; events that follow on at once are one item.

    Idle time and set-up stand alone, and so does what belongs to another target. Idle time under
    a minute is left out.
    """
    rows: list[tuple[Mapping[str, Any], bool]] = [(row, True) for row in plan["blocks"]]
    rows += [(row, False) for row in plan["events"] if not _is_short_idle(row)]
    rows.sort(key=lambda item: (moment(item[0]["start_utc"]), item[1]))
    panels = panels_of(plan)
    items: list[WorkItem] = []
    for row, is_block in rows:
        if is_block:
            items.append(WorkItem(row["start_utc"], row["end_utc"], row["target"], row))
            continue
        panel = None
        if row["kind"] == "slew_centre" and panels.get(str(row.get("target")), 1) > 1:
            panel = _panel_led_to(plan, row)
        item = WorkItem(
            row["start_utc"],
            row["end_utc"],
            row.get("target"),
            None,
            (row["kind"],),
            event_told(plan, row),
            panel,
        )
        if items and _follows(items[-1], item):
            last = items.pop()
            item = WorkItem(
                last.start_utc,
                max(last.end_utc, item.end_utc, key=moment),
                last.target,
                None,
                last.kinds + item.kinds,
                panel=last.panel or item.panel,
            )
        items.append(item)
    return items


def targets_in_order(items: Sequence[WorkItem]) -> list[str]:
    """Targets by their first block."""
    return list(dict.fromkeys(item.block["target"] for item in items if item.block is not None))


def train_words(train: str) -> str:
    """``change train to reducer``; empty without one."""
    return f"{event_words('train_change')} to {train}" if train else ""


def train_brought(plan: Mapping[str, Any], row: Mapping[str, Any]) -> str:
    """The train of the next block where a set-up in the night leads to one; else nothing."""
    if row["kind"] != "setup" or not row.get("target"):
        return ""
    ended = moment(row["end_utc"]) - CLOSE
    later = [block for block in plan["blocks"] if moment(block["start_utc"]) >= ended]
    first = min(later, key=lambda block: moment(block["start_utc"]), default=None)
    return "" if first is None else str(first["train"])


def event_told(plan: Mapping[str, Any], row: Mapping[str, Any]) -> str:
    """Words of an event that its kind alone does not tell; empty for any other."""
    if row["kind"] == "turn":
        return turn_words(plan, row)
    if row["kind"] == "flats":
        return flats_words(plan, row)
    return train_words(train_brought(plan, row))


def flats_words(plan: Mapping[str, Any], row: Mapping[str, Any]) -> str:
    """``flats: Ha SII at 10°``: of the filters shot at the angle and train that are left."""
    before = [
        block
        for block in sorted(plan["blocks"], key=lambda block: moment(block["start_utc"]))
        if moment(block["end_utc"]) <= moment(row["start_utc"]) + CLOSE
    ]
    if not before:
        return event_words("flats")
    last = before[-1]
    same = [
        block["filter"]
        for block in before
        if (block["train"], block["position_angle_deg"])
        == (last["train"], last["position_angle_deg"])
    ]
    names = " ".join(dict.fromkeys(same))
    return f"{event_words('flats')}: {names} at {number(last['position_angle_deg'])}°"


def turn_words(plan: Mapping[str, Any], row: Mapping[str, Any]) -> str:
    """``turn the camera 90° → 0°, clockwise seen from behind``: position angles, the shorter way.

    Position angles grow anticlockwise as seen from behind the camera, and clockwise where the
    train mirrors the picture (as `nightplan.planning.returning.camera_return` has it).
    """
    before, after = row.get("from_image_up_deg"), row.get("to_image_up_deg")
    if before is None or after is None:
        return event_words("turn")
    # A rectangle upside down is the same framing, so half a turn is none.
    move = (float(after) - float(before) + 90.0) % 180.0 - 90.0
    frame: Mapping[str, Any] = next(
        (one for one in plan.get("targets", ()) if one["target"] == row.get("target")), {}
    )
    angle = float(frame.get("position_angle_deg", float(after) + 90.0)) % 180.0
    anticlockwise = (move > 0.0) != bool(frame.get("mirrored"))
    way = "anticlockwise" if anticlockwise else "clockwise"
    was = number((angle - move) % 180.0)
    return f"turn the camera {was}° → {number(angle)}°, {number(abs(move))}° {way} from behind"


def trains_in_order(plan: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Each train that the night uses and when its first block starts, ISO 8601 UTC; a train that
    comes on again counts again."""
    found: list[tuple[str, str]] = []
    for block in sorted(plan["blocks"], key=lambda block: moment(block["start_utc"])):
        if not found or found[-1][0] != block["train"]:
            found.append((str(block["train"]), str(block["start_utc"])))
    return found


def _is_short_idle(row: Mapping[str, Any]) -> bool:
    length = moment(row["end_utc"]) - moment(row["start_utc"])
    return row["kind"] == "idle" and length < SHORT_IDLE


def _panel_led_to(plan: Mapping[str, Any], row: Mapping[str, Any]) -> int | None:
    ended = moment(row["end_utc"]) - CLOSE
    later = [
        block
        for block in plan["blocks"]
        if block["target"] == row.get("target") and moment(block["start_utc"]) >= ended
    ]
    first = min(later, key=lambda block: moment(block["start_utc"]), default=None)
    return None if first is None or not first.get("panel") else int(first["panel"])


def _follows(last: WorkItem, item: WorkItem) -> bool:
    return (
        last.block is None
        and last.target == item.target
        and not set(last.kinds + item.kinds) & set(NEVER_JOINED)
        and abs(moment(item.start_utc) - moment(last.end_utc)) <= CLOSE
    )
