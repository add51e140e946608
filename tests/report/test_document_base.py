"""How a document takes values from a result: by name, each in the form of its key."""

from __future__ import annotations

import datetime
from types import SimpleNamespace

import pytest
from astropy.time import Time
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from nightplan.report.documents.base import AxisDeg, Day, DirectionDeg, Document, To2, Utc


class Row(Document):
    """A row with a key of each kind."""

    name: str
    start_utc: Utc | None
    start_utc_reason: str | None = None
    evening: Day
    hours: To2
    line_deg: AxisDeg
    up_deg: DirectionDeg


def row(**changes: object) -> SimpleNamespace:
    values: dict[str, object] = {
        "name": "a",
        "start_utc_mjd": 61684.5,
        "evening": datetime.date(2027, 10, 6),
        "hours": 1.23456,
        "line_deg": 30.0,
        "up_deg": 300.0,
        "not_in_the_document": 1,
    }
    return SimpleNamespace(**{**values, **changes})


def test_values_come_by_name_and_times_from_their_mjd() -> None:
    found = Row.of(row())
    # astropy tells what the MJD is.
    assert found.start_utc == Time(61684.5, format="mjd", scale="utc").strftime(
        "%Y-%m-%dT%H:%M:%SZ"
    )
    assert (found.evening, found.hours, found.name) == ("2027-10-06", 1.23, "a")


def test_what_is_given_stands_before_what_the_result_says() -> None:
    found = Row.of(row(), name="b", start_utc=None, start_utc_reason="nothing_shot")
    assert (found.name, found.start_utc, found.start_utc_reason) == ("b", None, "nothing_shot")


def test_a_document_that_was_read_is_the_one_that_was_written() -> None:
    written = Row.of(row())
    assert Row.model_validate(written.model_dump(mode="json")) == written


def test_a_missing_value_is_refused_where_none_may_be() -> None:
    with pytest.raises(ValidationError, match="hours"):
        Row.of(row(hours=None))
    with pytest.raises(ValidationError, match="hours"):
        Row.of(row(hours=float("nan")))


@given(st.floats(-720.0, 720.0))
def test_printed_angles_stay_in_their_range(angle_deg: float) -> None:
    found = Row.of(row(line_deg=angle_deg, up_deg=angle_deg))
    assert 0.0 <= found.line_deg < 180.0
    assert 0.0 <= found.up_deg < 360.0
