"""Reads the plan document in force (`--keep`) and checks all that a re-plan takes from it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, get_args

from nightplan.errors import FileError, InputError
from nightplan.parsing import parse_json
from nightplan.planning.schedule.blocks import EventKind
from nightplan.sky.times import mjd_from_iso

if TYPE_CHECKING:
    from nightplan.model.config import Config

KINDS = get_args(EventKind)
Check = tuple[Callable[[Any], bool], str]


def _is_time(value: Any) -> bool:
    try:
        return isinstance(value, str) and bool(mjd_from_iso(value))
    except ValueError:
        return False


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 1_000_000


TEXT: Check = (lambda value: isinstance(value, str), "text")
TIME: Check = (_is_time, "a time such as 2027-10-07T01:10:00Z")
WHOLE: Check = (_is_whole, "a whole number from 1 to 1000000")
SECONDS: Check = (lambda value: _is_number(value) and 0.0 < value <= 86400.0, "seconds to 86400")
TEXT_OR_NULL: Check = (lambda value: value is None or isinstance(value, str), "text or null")
TIME_OR_NULL: Check = (lambda value: value is None or _is_time(value), f"{TIME[1]}, or null")


def _number(low: float, high: float) -> Check:
    return (
        lambda value: _is_number(value) and low <= value <= high,
        f"a number from {low:g} to {high:g}",
    )


KIND: Check = (lambda value: value in KINDS, f"one of {', '.join(KINDS)}")
YES_OR_NO: Check = (lambda value: isinstance(value, bool), "true or false")
ROWS: Check = (lambda value: isinstance(value, list), "an array of objects")

PLAN = {"train": TEXT, "window_start_utc": TIME_OR_NULL, "blocks": ROWS, "events": ROWS}
BLOCK = {
    "target": TEXT,
    "panel": WHOLE,
    "filter": TEXT,
    "start_utc": TIME,
    "sub_s": SECONDS,
    "count": WHOLE,
}
BLOCK_IF_THERE = {"train": TEXT, "gain": TEXT, "end_utc": TIME, "short_set": YES_OR_NO}
EVENT = {"kind": KIND, "target": TEXT_OR_NULL, "start_utc": TIME, "end_utc": TIME}

PLACE = {
    "ra_deg": _number(0.0, 360.0),
    "dec_deg": _number(-90.0, 90.0),
    "position_angle_deg": _number(0.0, 180.0),
    "image_up_angle_deg": _number(0.0, 360.0),
}
FRAMED = {
    **PLACE,
    "position_angle_tolerance_deg": _number(0.0, 90.0),
    "coverage": _number(0.0, 1.0),
    "margin_arcmin": _number(-1e5, 1e5),
    "mosaic_columns": WHOLE,
    "mosaic_rows": WHOLE,
    "reason": TEXT,
}
"""A target's framing, where its `fields` tell it whole."""
TARGET_IF_THERE = {
    "train": TEXT,
    "position_angle_deg": PLACE["position_angle_deg"],
    "train_loss": TEXT,
    "train_loss_share": _number(0.0, 1.0),
    "best_train": TEXT,
}


def read_plan_document(source: str, text: str) -> dict[str, Any]:
    """The plan document of a file's text.

    Raises
    ------
    FileError
        The text is no plan document.
    InputError
        A key of it is missing or holds what cannot be used; the line names it.
    """
    return check_plan_document(source, parse_json(source, text))


def check_plan_document(source: str, plan: Any) -> dict[str, Any]:
    """A plan document that is read already. Errors as of `read_plan_document`."""
    if not isinstance(plan, Mapping) or any(key not in plan for key in PLAN):
        raise FileError(source, "is not a plan document; `nightplan plan --save FILE` saves one")
    _check(source, "", plan, PLAN)
    plan = {"targets": [], "date": None, **plan}
    _check(source, "", plan, {"targets": ROWS, "date": TEXT_OR_NULL})
    _check(source, "", plan, {key: TEXT for key in ("site", "rig") if key in plan})
    for name, wanted in (("blocks", BLOCK), ("events", EVENT), ("targets", {"target": TEXT})):
        for number, row in enumerate(plan[name], start=1):
            where = f"{name}.{number}"
            if not isinstance(row, dict):
                raise InputError(source, where, row, "an object")
            _check(source, f"{where}.", row, wanted)
            may = {"blocks": BLOCK_IF_THERE, "targets": TARGET_IF_THERE}.get(name, {})
            _check(source, f"{where}.", row, {key: may[key] for key in may if key in row})
            if name == "targets" and "fields" in row:
                _check_fields(source, where, row)
    return plan


def check_same_rig(config: Config, plan: Mapping[str, Any], source: str) -> None:
    """Raise InputError for a plan that was made for another site or another rig."""
    for key, own in (("site", config.site.name), ("rig", config.rig_name)):
        if plan.get(key, own) != own:
            accepted = f"a plan for the {key} of {config.path}: {own}"
            raise InputError(source, key, plan[key], accepted)


def _check_fields(source: str, where: str, row: Mapping[str, Any]) -> None:
    _check(source, f"{where}.", row, FRAMED)
    fields = row["fields"]
    if not isinstance(fields, list) or not fields:
        raise InputError(source, f"{where}.fields", fields, "an array of at least one object")
    for number, place in enumerate(fields, start=1):
        inside = f"{where}.fields.{number}"
        if not isinstance(place, dict):
            raise InputError(source, inside, place, "an object")
        _check(source, f"{inside}.", place, PLACE)


def _check(source: str, owner: str, row: Mapping[str, Any], wanted: Mapping[str, Check]) -> None:
    for key, (holds, accepted) in wanted.items():
        if not holds(row.get(key)):
            raise InputError(source, f"{owner}{key}", row.get(key), accepted)
