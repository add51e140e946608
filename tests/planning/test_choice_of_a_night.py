"""Which targets a night serves, on invented nights of few slots: what an imager would expect
(common practice, no source)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.planning.ahead.choice import FAR_ON, NightRules, choose_night
from nightplan.planning.ahead.futures import Futures
from nightplan.planning.ahead.rows import Rows

RULES = NightRules(slot_h=0.5, most_targets=2, shortest_h=0.3, change_h=0.05, target_h=0.05)
SLOTS = 18


def rows_of(target: list[int], goal_h: list[float], **known: list[float]) -> Rows:
    """Rows with goals; what is not said is nothing gathered, narrow filters, one train."""
    count = len(target)
    filters = np.array([target[:i].count(one) for i, one in enumerate(target)])
    return Rows(
        target=np.array(target),
        channel=filters,
        filter=filters,
        train=np.array(known.get("train", [0] * count)),
        goal_h=np.array(goal_h),
        gathered_h=np.array(known.get("gathered_h", [0.0] * count)),
        priority=np.ones(count),
        panels=np.ones(count, dtype=np.intp),
        shutter=np.ones(count),
        dear=np.ones(count),
        broad=np.array(known.get("broad", [False] * count), dtype=bool),
        fall=0.6,
    )


def nights(count: int, futures: int, *rates: float) -> Futures:
    """Futures of so many clear nights of five parts, each of 1.8 h at these rates."""
    return Futures(np.full((futures, count, 5, len(rates)), 1.8) * np.array(rates))


def night_of(rows: Rows, rates: list[float], futures: Futures):  # type: ignore[no-untyped-def]
    rate = np.broadcast_to(np.array(rates), (SLOTS, len(rates))).copy()
    lead = np.full(rows.targets, 1e6)
    return choose_night(rows, rows.gathered_h[None], rate, futures, RULES, lead=lead)


@given(st.floats(FAR_ON + 0.02, 0.95), st.floats(4.0, 16.0), st.integers(1, 8))
@settings(max_examples=20, deadline=None)
def test_what_is_far_on_is_finished_whatever_later_nights_offer(
    share: float, goal_h: float, later: int
) -> None:
    rows = rows_of([0, 1], [goal_h, goal_h], gathered_h=[share * goal_h, 0.0])
    missing_h = (1.0 - share) * goal_h
    found = night_of(rows, [1.0, 1.0], nights(later, 4, 1.0, 1.0))
    assert found.chosen[0, 0]
    assert found.tonight_h[0, 0] >= min(0.8 * missing_h, 7.0) - RULES.slot_h
    assert not found.later_h[0, :, 0].any()


def test_what_is_just_begun_leaves_to_moonlit_nights_what_they_can_bring() -> None:
    # L needs the dark, H-alpha does not, and the nights to come are moonlit.
    rows = rows_of([0, 0], [12.0, 12.0], gathered_h=[1.0, 1.0], broad=[True, False])
    alone = night_of(rows, [1.0, 1.0], nights(0, 1, 0.0, 0.0))
    before = night_of(rows, [1.0, 1.0], nights(2, 4, 0.2, 0.9))
    assert before.tonight_h[0, 0] > alone.tonight_h[0, 0] + 1.0
    assert before.tonight_h[0, 1] < alone.tonight_h[0, 1] - 1.0


@pytest.mark.parametrize("left", [0.1, 0.2, 0.3])
def test_under_the_moon_a_begun_galaxy_waits_for_the_nebula(left: float) -> None:
    # The galaxy's narrow row is done; the moon spoils its L, so another target is opened.
    rows = rows_of(
        [0, 0, 1], [8.0, 2.0, 8.0], gathered_h=[2.0, 2.5, 0.0], broad=[True, False, False]
    )
    found = night_of(rows, [left, 0.9, 0.9], nights(0, 1, 0.0, 0.0, 0.0))
    assert found.clock_h[0, 0] == 0.0
    assert found.tonight_h[0, 2] > 6.0


def test_what_was_begun_does_not_hold_the_night_to_its_train() -> None:
    # An hour is left of the begun one; the other train has a night's work.
    rows = rows_of([0, 1, 2], [10.0, 9.0, 9.0], gathered_h=[4.0, 0.0, 0.0], train=[0, 1, 1])
    rate = np.zeros((SLOTS, 3))
    rate[:3, 0] = 1.0
    rate[:, 1:] = 1.0
    lead = np.full(3, 1e6)
    none = nights(0, 1, 0.0, 0.0, 0.0)
    found = choose_night(rows, rows.gathered_h[None], rate, none, RULES, lead=lead)
    assert found.train[0] == 1


def test_hours_that_a_late_riser_cannot_use_are_not_shot_beyond_the_goal() -> None:
    # The first is done but for minutes and up all night, the second rises half way through.
    rows = rows_of(
        [0, 0, 1, 2], [8.0, 0.4, 20.0, 9.0], gathered_h=[9.0, 0.2, 2.0, 0.0]
    )  # fmt: skip
    rate = np.full((SLOTS, 4), 0.9)
    rate[: SLOTS // 2, 2] = 0.0
    lead = np.full(3, 1e6)
    none = nights(0, 1, 0.0, 0.0, 0.0, 0.0)
    found = choose_night(rows, rows.gathered_h[None], rate, none, RULES, lead=lead)
    assert found.tonight_h[0, 3] > 2.5
    assert found.tonight_h[0, 0] < 1.0
