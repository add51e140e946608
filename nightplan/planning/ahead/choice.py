"""Which targets a clear night serves, through which train, and how many hours each filter gets.

The one rule that tonight's plan and every later night of a campaign share: begun targets first;
a new one only where those begun leave over half an hour; at most so many a night; one train a
night; hours by `nightplan.planning.ahead.response`. Works on many states of progress at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Bools, Floats
from nightplan.planning.ahead.futures import Futures
from nightplan.planning.ahead.response import STEPS, Response, respond
from nightplan.planning.ahead.rows import BEGUN_H, Rows

Ints = NDArray[np.intp]

FIRST = 1e6
"""Factor that puts one class of targets before another."""
BEGUN_LEAD = 3.0
"""What a begun target may earn less than a new one and still come first: under a full moon a
galaxy waits, begun or not, while a nebula can be shot. Trains are compared without it: it would
hold the rig to the train of what was begun when a month of hours waits in the other."""
FAR_ON = 0.5
"""Share of its goals from which a target is not put off any more: the nights ahead could always
bring the rest, and so it would stay at nine tenths."""
LONG_H = 10.0
"""Hours wanted of a new target that leave what it counts as it is; four times as many halve it.
Shared freely, a long goal draws more of the night than a short one that would leave the list."""
SPOILED_RATE, KEPT_RATE = 0.35, 0.05
"""Equivalent hours an hour below which a broadband row counts as spoiled by the moon, and from
which a narrow one is worth shooting in its place."""
WELL_USED = 0.5
"""A slot is used well where the chosen earn at least this share of what any target would."""
SPARE_LATE_H = 1.5
"""Hours beyond the goals of the night's targets that another target is worth opening for: what is
done early would else be shot far beyond its goal."""
SPARE_H = 0.5
"""Hours that must be left over before another target is opened, or a filler is called in."""


@dataclass(frozen=True)
class NightRules:
    """What a night's choice keeps to.

    `change_h` are hours that each filter of a target costs (change and focus), `target_h` those
    that each target after the first costs (slew, centring, focus).
    """

    slot_h: float
    most_targets: int
    shortest_h: float
    change_h: float
    target_h: float


@dataclass(frozen=True, eq=False)
class NightChoice:
    """What each state does with the night.

    Attributes
    ----------
    chosen : bool array (state, target)
        Targets of the night, fillers left out.
    filler : bool array (state, target)
        Called in for hours that no chosen target can use, or that they do not need.
    barred : bool array (state, target)
        Fillers of the first kind: they wait until no chosen target can be shot.
    tonight_h, clock_h : array (state, row)
        Equivalent hours and hours on the clock, changes paid for; the rows of a lane have the
        same hours on the clock.
    later_h : array (state, future, row)
        What later nights are counted on for; 0 for a target that is not put off any more.
    train : int array (state,)
        Index of the night's train; -1 where nothing can be done.
    gain : array (state,)
        Value that the night adds, mean over the futures; trains are compared by it.
    """

    chosen: Bools
    filler: Bools
    barred: Bools
    tonight_h: Floats
    clock_h: Floats
    later_h: Floats
    train: Ints
    gain: Floats


def choose_night(
    rows: Rows,
    had_h: Floats,
    rate: Floats,
    futures: Futures,
    rules: NightRules,
    *,
    lead: Floats | None = None,
    steps: int = STEPS,
) -> NightChoice:
    """Choose targets, train and hours of one night.

    Parameters
    ----------
    had_h : array (state, row)
    rate : array (slot, row)
        Equivalent hours per hour tonight.
    lead : array (target,), optional
        Factors, powers of `FIRST`, that put classes of targets before others; begun ones lead all.
    """
    states, count = had_h.shape[0], rows.targets
    best = NightChoice(
        chosen=np.zeros((states, count), dtype=bool),
        filler=np.zeros((states, count), dtype=bool),
        barred=np.zeros((states, count), dtype=bool),
        tonight_h=np.zeros_like(had_h),
        clock_h=np.zeros_like(had_h),
        later_h=np.zeros((states, futures.count, had_h.shape[1])),
        train=np.full(states, -1, dtype=np.intp),
        gain=np.zeros(states),
    )
    for train in np.unique(rows.train[rate.any(axis=0)]):
        own = np.where(rows.train == train, rate, 0.0)
        best = _better(best, _through(rows, had_h, own, futures, rules, lead, (int(train), steps)))
    return best


def _better(one: NightChoice, other: NightChoice) -> NightChoice:
    wins = other.gain > one.gain

    def pick(a: NDArray[np.generic], b: NDArray[np.generic]) -> NDArray[np.generic]:
        return np.where(wins.reshape((-1,) + (1,) * (a.ndim - 1)), b, a)

    fields = NightChoice.__dataclass_fields__
    return NightChoice(*(pick(getattr(one, name), getattr(other, name)) for name in fields))  # type: ignore[arg-type]


def _through(
    rows: Rows,
    had_h: Floats,
    rate: Floats,
    futures: Futures,
    rules: NightRules,
    lead: Floats | None,
    train_steps: tuple[int, int],
) -> NightChoice:
    """The night through one train, its response in so many steps."""
    train, steps = train_steps
    weight = rows.weight(had_h)
    spoiled = _spoiled(rows, had_h, rate, lead)
    slots_h = np.where(spoiled, 0.0, rate * rules.slot_h)
    sure = _not_put_off(rows, had_h)
    free = respond(rows, had_h, weight, slots_h, futures, steps, sure)
    chosen, filler, filled = _targets(rows, had_h, free, slots_h / rules.slot_h, rules, lead)
    barred = filler & ~np.asarray(filled.all(axis=1))[:, None]
    whole, rest = (chosen | filler & ~barred)[:, rows.target], barred[:, rows.target]
    allowed = whole[:, None, :] | (rest[:, None, :] & ~filled[:, :, None])
    found = respond(rows, had_h, weight, np.where(allowed, slots_h, 0.0), futures, steps, sure)
    clock = found.slots * rules.slot_h
    short = (clock > 0.0) & (clock < rules.shortest_h)
    if short.any():
        allowed = allowed & ~short[:, None, :]
        found = respond(rows, had_h, weight, np.where(allowed, slots_h, 0.0), futures, steps, sure)
        clock = found.slots * rules.slot_h
    kept = after_changes(rows, clock, rules)
    tonight = found.tonight_h * kept
    later_h = np.where(sure[:, None, :], 0.0, found.later_h)
    had_later = had_h[:, None, :] + later_h
    wide = weight[:, None, :]
    reached = rows.value_by_row(had_later + tonight[:, None, :], wide)
    gain = (reached - rows.value_by_row(had_later, wide)).mean(axis=1)
    used = (clock @ rows.member) > 0.0
    return NightChoice(
        chosen & used,
        filler & used,
        barred & used,
        tonight,
        clock,
        later_h,
        np.where(used.any(axis=1), train, -1),
        gain.sum(axis=1),
    )


def _spoiled(rows: Rows, had_h: Floats, rate: Floats, lead: Floats | None) -> Bools:
    """What the moon spoils while a wanted row that keeps in moonlight can be shot, (state, slot,
    row): nobody shoots colours under a full moon then."""
    wanted = np.ones(rows.targets) if lead is None or lead.max() < FIRST else lead >= FIRST
    narrow = ~rows.broad & (wanted[rows.target] > 0)
    kept = np.where(narrow & (rate >= KEPT_RATE), rate, 0.0)
    most = (kept[None] * (had_h < rows.goal_h)[:, None, :]).max(axis=2)
    rate = rows.most_of_lane(rate)
    poor = rows.broad & (rate < SPOILED_RATE)
    return np.asarray(poor[None] & (most[:, :, None] > rate[None]))


def _targets(
    rows: Rows,
    had_h: Floats,
    free: Response,
    rate: Floats,
    rules: NightRules,
    lead: Floats | None,
) -> tuple[Bools, Bools, Bools]:
    """Chosen targets and fillers (state, target), and slots that the chosen can use (state, slot).

    A target counts by what it earns where the night is shared freely among all; of new ones a long
    goal counts less. `rate` is (state, slot, row), 0 where the moon spoils a row.
    """
    states, count = had_h.shape[0], rows.targets
    wanted = np.where(had_h < rows.goal_h, free.price, 0.0)
    earns = (wanted * free.tonight_h) @ rows.member
    able = _by_target(rows, wanted, rate)
    usable = able > 0.0
    # Where free sharing gives a target nothing it can still be called on, by what it could earn.
    earns = earns + 1e-3 * able.sum(axis=1) * rules.slot_h
    open_h = np.maximum(rows.goal_h - had_h, 0.0) / _mean_rate(rate)
    open_h = rows.by_lane(open_h, np.maximum) @ rows.member[rows.first]
    begun = _begun(rows, had_h)
    ranks = np.ones(count) if lead is None else lead
    left_h = np.maximum(rows.goal_h - had_h, 0.0) @ rows.member
    earns = earns * ranks * np.where(begun, BEGUN_LEAD, (LONG_H / np.maximum(left_h, 1.0)) ** 0.5)
    # Where nothing is begun, targets that were named together are opened together.
    fresh = ~np.asarray((begun & usable.any(axis=1)).any(axis=1))
    together = fresh[:, None] & (ranks >= FIRST)
    chosen = np.zeros((states, count), dtype=bool)
    every = np.arange(states)
    night_h = usable.any(axis=2).sum(axis=1) * rules.slot_h
    for _ in range(rules.most_targets):
        own = np.where(chosen[:, None, :], able, 0.0).max(axis=2)
        well = (own > 0.0) & (own >= WELL_USED * able.max(axis=2))
        able_h = well.sum(axis=1) * rules.slot_h
        spare = night_h - np.minimum(able_h, (open_h * chosen).sum(axis=1)) > SPARE_H
        gain = np.where(begun | spare[:, None] | together, earns, 0.0)
        gain[chosen] = 0.0
        at = gain.argmax(axis=1)
        take = gain[every, at] > 0.0
        chosen[every[take], at[take]] = True
    shown = _by_target(rows, np.ones_like(wanted), rate) > 0.0
    filled = np.asarray((shown & chosen[:, None, :]).any(axis=2))
    left = np.where(filled[:, :, None], 0.0, _by_target(rows, free.price, rate))
    idle_h = (left > 0.0).any(axis=2).sum(axis=1) * rules.slot_h
    filler = np.zeros_like(chosen)
    at = (left.sum(axis=1) * ranks).argmax(axis=1)
    take = idle_h >= SPARE_H
    filler[every[take], at[take]] = True
    # Where the chosen can be shot all night but want fewer hours while they are up, another takes
    # the rest.
    each_h = np.minimum(open_h, usable.sum(axis=1) * rules.slot_h)
    over = night_h - (each_h * chosen).sum(axis=1) > SPARE_LATE_H
    gain = np.where(chosen, 0.0, earns)
    at = gain.argmax(axis=1)
    take = over & ~take & (gain[every, at] > 0.0)
    filler[every[take], at[take]] = True
    filled[take] = True
    return chosen, filler & ~chosen, filled


def _not_put_off(rows: Rows, had_h: Floats) -> Bools:
    """Rows of targets so far on that they are finished as if no night followed, (state, row)."""
    far = _begun(rows, had_h) & (rows.share(had_h) >= FAR_ON)
    return np.asarray(far[:, rows.target])


def _begun(rows: Rows, had_h: Floats) -> Bools:
    """Whether each target is begun and not done, (state, target)."""
    return np.asarray(((had_h @ rows.member) >= BEGUN_H) & ~rows.done(had_h))


def _by_target(rows: Rows, price: Floats, rate: Floats) -> Floats:
    """Most that a target's rows earn in each slot, (state, slot, target)."""
    earned = price[:, None, :] * rate
    result = np.zeros((*rate.shape[:2], rows.targets))
    earned, target_of = rows.by_lane(earned), rows.target[rows.first]
    for target in range(rows.targets):
        result[:, :, target] = earned[:, :, target_of == target].max(axis=2, initial=0.0)
    return result


def _mean_rate(rate: Floats) -> Floats:
    """Mean rate of each row over the slots that it can use, (state, row); never 0."""
    used = (rate > 0.0).sum(axis=1)
    return np.where(used > 0, rate.sum(axis=1) / np.maximum(used, 1), 1.0)


def after_changes(rows: Rows, clock_h: Floats, rules: NightRules) -> Floats:
    """Share of the hours that changes of filter and target leave, (state, 1)."""
    clock_h = clock_h[:, rows.first]
    filters = (clock_h > 0.0).sum(axis=1)
    targets = ((clock_h @ rows.member[rows.first]) > 0.0).sum(axis=1)
    lost = filters * rules.change_h + np.maximum(targets - 1, 0) * rules.target_h
    total = clock_h.sum(axis=1)
    kept = np.where(total > 0.0, 1.0 - lost / np.maximum(total, 1e-12), 1.0)
    return np.asarray(np.maximum(kept, 0.5)[:, None])
