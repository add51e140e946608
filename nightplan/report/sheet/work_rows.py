"""Rows of the sheet that are ticked off: setting up, the order of work, calibration frames."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from nightplan.number_forms import number
from nightplan.report.sheet.sheet_strip import stretches
from nightplan.report.wording.local_time import NightClock, duration
from nightplan.report.wording.order_of_work import WorkItem
from nightplan.report.wording.words import angle_range, capital, panels_of, subs

Document = Mapping[str, Any]

LONG_REASON = 60
LOUD = ("flip", "turn", "flats")
"""Kinds of work between blocks that are shown loudest, the loudest first."""


def setup_rows(setup: Sequence[Document], clock: NightClock) -> list[dict[str, str]]:
    """Steps of setting up."""
    return [
        {
            "id": f"s{i}",
            "start": clock.clock(row["start_utc"]),
            "end": clock.clock(row["end_utc"]),
            "name": capital(row["name"]),
        }
        for i, row in enumerate(setup)
    ]


def loudness(item: WorkItem) -> str:
    """The loudest kind of an item: ``flip``, ``turn``, ``flats``, or empty."""
    return next((kind for kind in LOUD if kind in item.kinds), "")


def work_groups(
    plan: Document, items: list[WorkItem], clock: NightClock, look_of: Mapping[str, str]
) -> list[dict[str, Any]]:
    """The order of work, one group for each stretch on a target."""
    panels = panels_of(plan)
    framed = {row["target"]: row for row in plan.get("targets", ())}
    ids = {id(item): f"w{i}" for i, item in enumerate(items)}
    groups = []
    for stretch in stretches(items):
        target = next((item.target for item in stretch if item.target is not None), None)
        rows = []
        for item in stretch:
            row: dict[str, Any] = {
                "id": ids[id(item)],
                "is_block": item.block is not None,
                "idle": item.kinds == ("idle",),
                "loud": loudness(item),
                "start": clock.clock(item.start_utc),
                "end": clock.clock(item.end_utc),
                "words": capital(item.words),
            }
            if item.block is not None:
                block = item.block
                row |= {
                    "filter": block["filter"],
                    "look": look_of.get(block["filter"], ""),
                    "subs": subs(block["count"], block["sub_s"]),
                    "gain": block["gain"],
                    "why": capital(str(block.get("why") or "")),
                    "long": len(str(block.get("why") or "")) > LONG_REASON,
                    "panel": block.get("panel") if panels.get(str(target), 1) > 1 else None,
                }
            rows.append(row)
        frame = framed.get(str(target))
        groups.append(
            {
                "title": str(target) if target is not None else "No target",
                "angle": None if frame is None else _angle(frame),
                "rows": rows,
            }
        )
    return groups


def _angle(frame: Document) -> str:
    angle = angle_range(frame["position_angle_deg"], frame["position_angle_tolerance_deg"], 1)
    return (
        f"Camera {angle}, image up {number(frame['image_up_angle_deg'])}°, train {frame['train']}."
    )


def calibration_rows(owed: Sequence[Document]) -> tuple[list[dict[str, str]], str]:
    """Rows that differ by the filter alone are one row; the counts and times are for each. And the
    time of them all, empty where it is not known."""
    grouped: dict[tuple[Any, ...], list[Document]] = {}
    for row in owed:
        alike = tuple(
            row.get(key)
            for key in ("kind", "train", "position_angle_deg", "sub_s", "gain",
                        "sensor_temperature_c", "count", "reason")
        )  # fmt: skip
        grouped.setdefault(alike, []).append(row)
    rows = [_calibration_row(f"c{i}", members) for i, members in enumerate(grouped.values())]
    total = sum(float(row.get("minutes") or 0.0) for row in owed)
    return rows, duration(total) if all(row.get("minutes") for row in owed) else ""


def _calibration_row(row_id: str, members: Sequence[Document]) -> dict[str, str]:
    row = members[0]
    filters = [str(member["filter"]) for member in members if member.get("filter")]
    parts = [" ".join(filters)] if filters else []
    if row.get("train"):
        parts.append(str(row["train"]))
    if row.get("position_angle_deg") is not None:
        parts.append(f"angle {number(row['position_angle_deg'])}°")
    if row.get("sub_s") is not None:
        parts.append(f"{number(row['sub_s'], 3)} s")
    if row.get("gain") is not None:
        parts.append(f"gain {row['gain']}")
    if row.get("sensor_temperature_c") is not None:
        parts.append(f"{number(row['sensor_temperature_c'])} °C")
    spent = [float(member["minutes"]) for member in members if member.get("minutes")]
    each = " each" if len(members) > 1 else ""
    return {
        "id": row_id,
        "kind": capital(str(row["kind"]).replace("_", " ")),
        "what": ", ".join(parts),
        "count": f"{row['count']}{each}",
        "time": duration(sum(spent)) if spent else "",
        "reason": str(row.get("reason") or "").replace("_", " "),
    }
