"""Months under many skies: this rule of a night against others, on half-hour slots.

    python benchmarks/bench_months.py [--nights 30] [--skies 20]

Three target lists, three chances of a clear night, five rules. Each sky is a row of clear and
clouded nights from a fixed seed, the same for all rules. Nothing here is planned in whole subs;
`benchmarks/fortnight.py` does that for fewer nights.

Rules
- `ahead`: what `plan` and `campaign` follow (`nightplan.planning.ahead.choice`);
- `alone`: the same value, each night as if it were the last;
- `even shares`: mean over a target's filters of p(2 - p), each night alone, no limit on targets
  (what was made largest before);
- `advantage`: the same slope times the slot's rate over the row's mean of the coming month (the
  campaign's earlier rule);
- `thumb`: an imager's rule of thumb: one target before the next, broadband while the moon is
  down, narrow filters under it (common practice, no source).

All keep one train a night, the last two that with the more progress, and pay for their changes.
"""

from __future__ import annotations

import argparse
import datetime
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from nightplan.model.config import Config, parse_config
from nightplan.model.own_targets import catalog_for
from nightplan.model.starter import starter_text
from nightplan.planning.ahead.assessment import Assessment, assess, night_rules
from nightplan.planning.ahead.choice import after_changes, choose_night
from nightplan.planning.ahead.futures import (
    FUTURES,
    LOOK_NIGHTS,
    Futures,
    clear_patterns,
)
from nightplan.planning.ahead.rows import BEGUN_H, Rows
from nightplan.planning.choosing.night_targets import named_targets
from nightplan.planning.returning.earlier_nights import EarlierNights

CHANCES = (0.2, 0.4, 0.6)
LISTS = {
    "galaxies, spring": ("", datetime.date(2027, 3, 1),
                         ["M 81", "M 51", "M 101", "M 106", "NGC 4565"]),
    "mixture, autumn": ("", datetime.date(2027, 10, 29),
                        ["M 33", "M 45", "IC 1848", "NGC 281", "M 31"]),
    "summer at 52 N": ("52.0", datetime.date(2027, 7, 25),
                       ["NGC 7000", "NGC 6888", "M 31", "NGC 7331", "IC 1396"]),
    "galaxy and nebula": ("", datetime.date(2027, 10, 29), ["M 33", "IC 1848"]),
}  # fmt: skip
SKY_SEED = 4711
Night = tuple[np.ndarray, np.ndarray]
Rule = Callable[[Config, Assessment, int, np.ndarray, float], Night]


class EvenShares(Rows):
    """Rows whose value is the mean over a target's filters of p(2 - p)."""

    def slope(self, had_h: np.ndarray) -> np.ndarray:
        count = self.member.sum(axis=0)[self.target]
        left = np.maximum(0.0, 1.0 - had_h / self.goal_h)
        return np.asarray(2.0 * left / self.goal_h / count)

    def weight(self, had_h: np.ndarray) -> np.ndarray:
        return np.broadcast_to(self.priority, had_h.shape).copy()


def ahead(config: Config, found: Assessment, night: int, had: np.ndarray, chance: float) -> Night:
    futures = found.futures_after(night, chance, night + 1 + LOOK_NIGHTS, FUTURES)
    return _chosen(config, found, night, had, futures)


def alone(config: Config, found: Assessment, night: int, had: np.ndarray, chance: float) -> Night:
    return _chosen(config, found, night, had, Futures(np.zeros((1, 0, 1, had.shape[1]))))


def even_shares(
    config: Config, found: Assessment, night: int, had: np.ndarray, chance: float
) -> Night:
    assert found.rows is not None
    rows = EvenShares(**{name: getattr(found.rows, name) for name in Rows.__dataclass_fields__})
    free = config.model_copy(
        update={"preferences": config.preferences.model_copy(update={"tonight_most_targets": 12})}
    )
    return alone(free, replace(found, rows=rows), night, had, chance)


def _chosen(
    config: Config, found: Assessment, night: int, had: np.ndarray, futures: Futures
) -> Night:
    assert found.rows is not None
    rate = found.rate[night, : found.ahead.slots[night]]
    lead = np.full(found.rows.targets, 1e6)
    choice = choose_night(
        found.rows, had, rate, futures, night_rules(config, found, night), lead=lead
    )
    return choice.tonight_h, choice.clock_h


def advantage(
    config: Config, found: Assessment, night: int, had: np.ndarray, chance: float
) -> Night:
    rows = found.rows
    assert rows is not None
    slot_h = float(found.ahead.slot_h[night])
    month = found.parts_h[night : night + LOOK_NIGHTS].sum(axis=(0, 1))
    typical = month / max(found.ahead.work_h[night : night + LOOK_NIGHTS].sum(), 1e-9)
    even = EvenShares(**{name: getattr(rows, name) for name in Rows.__dataclass_fields__})
    tonight, clock = np.zeros_like(had), np.zeros_like(had)
    every = np.arange(had.shape[0])
    for rate in found.rate[night, : found.ahead.slots[night]]:
        lift = rate / np.maximum(typical, 1e-9)
        index = even.slope(had + tonight) * rows.priority * rate * lift
        best = index.argmax(axis=1)
        take = np.flatnonzero(index[every, best] > 0.0)
        tonight[take, best[take]] += rate[best[take]] * slot_h
        clock[take, best[take]] += slot_h
    return tonight, clock


def thumb(config: Config, found: Assessment, night: int, had: np.ndarray, chance: float) -> Night:
    rows = found.rows
    assert rows is not None
    broad = rows.broad
    slot_h = float(found.ahead.slot_h[night])
    tonight, clock = np.zeros_like(had), np.zeros_like(had)
    for state in range(had.shape[0]):
        share = rows.share(had[state])
        order = np.argsort(-np.where(share < 0.999, share, -1.0), kind="stable")
        for rate in found.rate[night, : found.ahead.slots[night]]:
            row = _by_thumb(rows, broad, rate, had[state] + tonight[state], order)
            if row is not None:
                tonight[state, row] += rate[row] * slot_h
                clock[state, row] += slot_h
    return tonight, clock


def _by_thumb(
    rows: Rows, broad: np.ndarray, rate: np.ndarray, had: np.ndarray, order: np.ndarray
) -> int | None:
    dark = rate[broad].max(initial=0.0) > 0.5
    for target in order:
        for wanted in (broad, ~broad) if dark else (~broad, broad):
            able = (rows.target == target) & wanted & (rate > 0.1) & (had < rows.goal_h)
            own = np.flatnonzero(able)
            if own.size:
                return int(own[np.argmin(had[own] / rows.goal_h[own])])
    return None


def one_train(rule: Rule) -> Rule:
    """The rule through the train that brings most towards the goals, changes paid for."""

    def through(
        config: Config, found: Assessment, night: int, had: np.ndarray, chance: float
    ) -> Night:
        rows = found.rows
        assert rows is not None
        tonight, clock = np.zeros_like(had), np.zeros_like(had)
        for train in np.unique(rows.train):
            own = replace(found, rate=np.where(rows.train == train, found.rate, 0.0))
            hours, taken = rule(config, own, night, had, chance)
            hours = hours * after_changes(rows, taken, night_rules(config, found, night))
            towards = [np.minimum(had + one, rows.goal_h).sum(axis=1) for one in (hours, tonight)]
            better = (towards[0] > towards[1])[:, None]
            tonight, clock = np.where(better, hours, tonight), np.where(better, taken, clock)
        return tonight, clock

    return through


RULES: dict[str, Rule] = {
    "ahead": ahead, "alone": alone, "even shares": even_shares,
    "advantage": one_train(advantage), "thumb": one_train(thumb),
}  # fmt: skip


def month(
    config: Config, found: Assessment, rule: Rule, chance: float, nights: int, skies: int
) -> dict[str, float]:
    """Figures of one rule, mean over the skies; `se` is the standard error of the progress."""
    rows = found.rows
    assert rows is not None
    clear = clear_patterns(nights, chance, skies, SKY_SEED)
    had = np.repeat(rows.gathered_h[None], skies, axis=0)
    clock = np.zeros((nights, skies, rows.goal_h.size))
    open_h = 0.0
    for night in range(nights):
        going = np.flatnonzero(clear[night])
        if not going.size or not found.ahead.slots[night]:
            continue
        tonight, hours = rule(config, found, night, had[going], chance)
        had[going] += tonight
        clock[night, going] = hours
        usable = found.rate[night].any(axis=1).sum() * found.ahead.slot_h[night]
        open_h += float(usable) * going.size
    broad = rows.broad
    lit = found.ahead.moon_illuminated_fraction[:nights] > 0.55
    bright = clock[lit].sum(axis=(0, 1))
    done = (had / rows.goal_h >= 0.9).astype(float) @ rows.member == rows.member.sum(axis=0)
    begun = ((had @ rows.member) > BEGUN_H) & (rows.share(had) < 0.5)
    progress = np.minimum(had, rows.goal_h).sum(axis=1)
    worked = clear.sum()
    return {
        "progress h": float(progress.mean()),
        "se": float(progress.std() / np.sqrt(skies)),
        "finished": float(done.sum(axis=1).mean()),
        "below half": float(begun.sum(axis=1).mean()),
        "broad in moon": float(bright[broad].sum() / max(bright.sum(), 1e-9)),
        "idle h": (open_h - float(clock.sum())) / skies,
        "rows a night": float((clock > 0.0).sum() / max(worked, 1)),
    }


def main() -> None:
    """Print a table a list."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--nights", type=int, default=30)
    asked.add_argument("--skies", type=int, default=20)
    asked.add_argument("--only", default="", help="lists whose name holds this")
    options = asked.parse_args()
    gains: dict[float, list[float]] = {chance: [] for chance in CHANCES}
    for name, (latitude, first, targets) in LISTS.items():
        if options.only not in name:
            continue
        text = starter_text()
        if latitude:
            text = text.replace("latitude_deg = 38.60", f"latitude_deg = {latitude}")
        config = parse_config(text)
        catalog = catalog_for(config)
        wanted = named_targets(catalog, targets)
        found = assess(config, first, options.nights + LOOK_NIGHTS, wanted, EarlierNights(), 0.4)
        assert found.rows is not None
        print(f"\n{name}: {', '.join(targets)}; {found.rows.goal_h.sum():.0f} h wanted")
        for chance in CHANCES:
            progress = {}
            for rule, work in RULES.items():
                began = time.process_time()
                got = month(config, found, work, chance, options.nights, options.skies)
                spent = time.process_time() - began
                progress[rule] = got["progress h"]
                figures = " | ".join(f"{value:.2f}" for value in got.values())
                print(f"| {chance} | {rule} | {figures} | {spent:.1f} |", flush=True)
            gains[chance].append(progress["ahead"] / progress["alone"] - 1.0)
    for chance, found_gains in gains.items():
        print(f"ahead over alone at {chance}: {100.0 * float(np.mean(found_gains)):+.1f} %")


if __name__ == "__main__":
    main()
