"""The plan in force as it is read back: every key that a re-plan takes, broken in turn.

The expectations are the published rule for bad input: one line that names file, key, value and
accepted range.
"""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest

from nightplan.errors import FileError, InputError
from nightplan.planning.schedule.plan_reading import read_plan_document

PLAN: dict[str, Any] = {
    "date": "2027-10-06",
    "train": "flattener",
    "window_start_utc": "2027-10-06T19:33:48Z",
    "targets": [{"target": "M 31"}],
    "blocks": [
        {
            "target": "M 31",
            "panel": 1,
            "train": "flattener",
            "filter": "Ha",
            "start_utc": "2027-10-06T19:33:48Z",
            "sub_s": 600.0,
            "count": 8,
        }
    ],
    "events": [
        {
            "kind": "focus",
            "target": None,
            "start_utc": "2027-10-06T20:54:54Z",
            "end_utc": "2027-10-06T20:58:54Z",
        }
    ],
}


def test_a_plan_is_read_as_it_was_written() -> None:
    assert read_plan_document("plan.json", json.dumps(PLAN)) == PLAN


@pytest.mark.parametrize("text", ["", "{", "[]", "3", "{}", "[" * 100_000])
def test_what_is_no_plan_is_refused(text: str) -> None:
    with pytest.raises(FileError, match=r"plan\.json: is n(ot|ested)"):
        read_plan_document("plan.json", text)


PLACES = [
    *((None, key) for key in ("train", "window_start_utc", "blocks", "events", "targets", "date")),
    *(("blocks", key) for key in PLAN["blocks"][0]),
    *(("events", key) for key in PLAN["events"][0]),
    ("targets", "target"),
]


@pytest.mark.parametrize(("table", "key"), PLACES)
@pytest.mark.parametrize("bad", [-5, [1], {}, float("nan")])
def test_every_key_is_checked_and_named(table: str | None, key: str, bad: Any) -> None:
    plan = copy.deepcopy(PLAN)
    (plan if table is None else plan[table][0])[key] = bad
    if key in ("blocks", "events", "targets") and bad == [1]:
        where = f"{key}.1"
    else:
        where = key if table is None else f"{table}.1.{key}"
    with pytest.raises(InputError) as caught:
        read_plan_document("plan.json", json.dumps(plan))
    assert (caught.value.source, caught.value.key) == ("plan.json", where)
    assert caught.value.accepted


@pytest.mark.parametrize("bad", ["yesterday", "2027-10-06T20:54:54", "2027-13-06T20:54:54Z"])
def test_times_carry_their_offset(bad: str) -> None:
    plan = copy.deepcopy(PLAN)
    plan["blocks"][0]["start_utc"] = bad
    with pytest.raises(InputError, match=r"blocks\.1\.start_utc"):
        read_plan_document("plan.json", json.dumps(plan))
