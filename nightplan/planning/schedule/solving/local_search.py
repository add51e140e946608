"""Better orders of runs by small changes, each judged by exact placement.

An order is three arrays (run,): lane, count of subs, and a time that the run waits for. Moves:
longer and shorter, subs from one run to another, swap, shift, drop, put in, change the filter,
change the side of the pier, wait. All neighbours of an order are valued in one batch and the best
is taken, so the outcome does not depend on the machine's speed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from nightplan.planning.schedule.problem import FloatArray, IntArray
from nightplan.planning.schedule.solving.batch import NONE, BatchPlacer, Values
from nightplan.planning.schedule.solving.placement import Run

GAIN = 1e-6
BATCH = 600
Candidate = tuple[list[int], list[int], list[float]]


@dataclass(frozen=True, eq=False)
class Order:
    """An order of runs and its objective."""

    objective: float
    lanes: tuple[int, ...]
    counts: tuple[int, ...]
    waits_s: tuple[float, ...]
    start_s: tuple[float, ...] = ()
    hours: FloatArray | None = None

    @property
    def runs(self) -> list[Run]:
        """For the exact placer."""
        return [
            Run(lane, count, wait)
            for lane, count, wait in zip(self.lanes, self.counts, self.waits_s, strict=True)
        ]


class LocalSearch:
    """Improves orders; `spare` says whether there is time for another batch."""

    def __init__(self, batch: BatchPlacer, spare: Callable[[], bool]) -> None:
        self.batch, self.spare = batch, spare
        self.placer = batch.placer
        self.valued = 0
        shortest = max(self.placer.shortest_s, 0.0)
        self.least = [
            next(n for n in range(1, 10_000) if self.placer.run_s(lane, n) >= shortest - 1e-6)
            for lane in range(len(self.placer.lanes))
        ]
        if self.placer.resumed is not None:
            self.least[self.placer.resumed] = 1

    def ranked(self, candidates: list[Candidate]) -> list[Order]:
        """Candidates as placed, best first, one for each order of lanes."""
        if not candidates:
            return []
        values = self._values(candidates)
        seen: set[tuple[int, ...]] = set()
        found = []
        for index in np.argsort(-values.objective, kind="stable"):
            order = self._order(values, candidates, int(index))
            if order.lanes not in seen:
                seen.add(order.lanes)
                found.append(order)
        return found

    def _better(self, order: Order, candidates: list[Candidate]) -> Order | None:
        """The best of the first batch that holds a better order."""
        # Shuffled, always alike, so that a batch holds moves of every part of the night.
        order_of = np.random.default_rng(len(candidates)).permutation(len(candidates))
        for begin in range(0, len(candidates), BATCH):
            found = self.best_of([candidates[k] for k in order_of[begin : begin + BATCH]])
            if found is not None and found.objective > order.objective + GAIN:
                return found
            if not self.spare():
                return None
        return None

    def again(self, order: Order) -> Order:
        """An order valued by this search's utility."""
        found = self.best_of([(list(order.lanes), list(order.counts), list(order.waits_s))])
        return order if found is None else found

    def best_of(self, candidates: list[Candidate]) -> Order | None:
        """The best candidate as placed."""
        if not candidates:
            return None
        values = self._values(candidates)
        index = int(values.objective.argmax())
        return self._order(values, candidates, index)

    def _values(self, candidates: list[Candidate]) -> Values:
        size, runs = len(candidates), max(1, *(len(c[0]) for c in candidates))
        lanes = np.full((size, runs), NONE)
        counts = np.zeros((size, runs), dtype=np.int64)
        waits = np.full((size, runs), -np.inf)
        for number, (lane, count, wait) in enumerate(candidates):
            lanes[number, : len(lane)] = lane
            counts[number, : len(lane)] = count
            waits[number, : len(lane)] = wait
        self.valued += size
        return self.batch.values(lanes, counts, waits)

    def _order(self, values: Values, candidates: list[Candidate], index: int) -> Order:
        _, _, waits = candidates[index]
        got = [
            (int(lane), int(count), waits[number], float(start))
            for number, (lane, count, start) in enumerate(
                zip(values.lanes[index], values.counts[index], values.start_s[index], strict=True)
            )
            if count > 0
        ]
        lanes, counts, wait, start = zip(*got, strict=True) if got else ((), (), (), ())
        return Order(
            float(values.objective[index]), lanes, counts, wait, start, values.hours[index]
        )

    def improve(self, order: Order, insertable: IntArray, allowance: int = 10**9) -> Order:
        """Climb from an order; `insertable` are the lanes worth putting in. It ends on the top,
        or when `allowance` candidates were valued."""
        kinds = [
            self._counts,
            self._moves,
            lambda current: self._replacements(current, insertable),
            lambda current: self._insertions(current, insertable),
        ]
        level = 0
        end = self.valued + allowance
        while level < len(kinds) and self.valued < end and self.spare():
            found = self._better(order, kinds[level](order))
            if found is not None:
                order, level = found, 0
            else:
                level += 1
        return order

    def shake(self, order: Order, likely: IntArray, allowance: int, seed: int) -> Order:
        """Drop a stretch of the night, climb again, keep what is better; and so on, until so many
        candidates were valued. Always the same from the same seed."""
        random = np.random.default_rng(seed)
        end = self.valued + allowance
        while self.valued < end and self.spare() and len(order.lanes) > 1:
            length = int(random.integers(1, min(4, len(order.lanes))))
            place = int(random.integers(0, len(order.lanes) - length + 1))
            rest = slice(0, place), slice(place + length, None)
            kicked: Candidate = (
                [*order.lanes[rest[0]], *order.lanes[rest[1]]],
                [*order.counts[rest[0]], *order.counts[rest[1]]],
                [-np.inf] * (len(order.lanes) - length),
            )
            found = self.best_of([kicked])
            if found is not None and found.lanes:
                found = self.improve(found, likely, end - self.valued)
                if found.objective > order.objective + GAIN:
                    order = found
        return order

    def _counts(self, order: Order) -> list[Candidate]:
        lanes, counts, waits = list(order.lanes), list(order.counts), list(order.waits_s)
        cycle = self.placer.cycle_s
        found: list[Candidate] = []

        def add(changes: dict[int, int]) -> None:
            new = counts.copy()
            for place, change in changes.items():
                new[place] = max(self.least[lanes[place]], new[place] + change)
            if new != counts:
                found.append((lanes, new, waits))

        for i in range(len(lanes)):
            for seconds in (1.0, 600.0, 1800.0, 5400.0):
                step = max(1, round(seconds / cycle[lanes[i]]))
                add({i: step})
                add({i: -step})
                for j in range(len(lanes)):
                    if i != j:
                        back = step * cycle[lanes[i]] / cycle[lanes[j]]
                        add({i: step, j: -int(np.ceil(back - 1e-9))})
                        if back > int(back) > 0:
                            add({i: step, j: -int(back)})
            for wait in (300.0, 900.0, 2700.0):
                new = waits.copy()
                new[i] = order.start_s[i] + wait
                found.append((lanes, counts, new))
            if np.isfinite(waits[i]):
                new = waits.copy()
                new[i] = -np.inf
                found.append((lanes, counts, new))
        return found

    def _moves(self, order: Order) -> list[Candidate]:
        items = list(zip(order.lanes, order.counts, order.waits_s, strict=True))
        found: list[Candidate] = []

        def add(new: list[tuple[int, int, float]]) -> None:
            merged: list[tuple[int, int, float]] = []
            for lane, count, wait in new:
                if merged and merged[-1][0] == lane:
                    merged[-1] = (lane, merged[-1][1] + count, merged[-1][2])
                else:
                    merged.append((lane, count, wait))
            lanes, counts, waits = zip(*merged, strict=True) if merged else ((), (), ())
            found.append((list(lanes), list(counts), list(waits)))

        n = len(items)
        free = [(lane, count, -np.inf) for lane, count, _ in items]
        for i in range(n):
            for j in range(n):
                if i < j:
                    new = free.copy()
                    new[i], new[j] = new[j], new[i]
                    add(new)
                if i != j:
                    new = free.copy()
                    new.insert(j, new.pop(i))
                    add(new)
            # Drop a run, its time to another.
            rest = items[:i] + items[i + 1 :]
            add(rest)
            seconds = self.placer.run_s(items[i][0], items[i][1])
            for j in range(n - 1):
                lane, count, wait = rest[j]
                new = rest.copy()
                new[j] = (lane, count + max(1, int(seconds / self.placer.cycle_s[lane])), wait)
                add(new)
            other = self.placer.sibling[items[i][0]]
            if other is not None:
                new = items.copy()
                new[i] = (other, items[i][1], -np.inf)
                add(new)
            # Reverse a stretch.
            for j in range(i + 2, n):
                add(free[:i] + free[i : j + 1][::-1] + free[j + 1 :])
        return found

    def _replacements(self, order: Order, insertable: IntArray) -> list[Candidate]:
        found: list[Candidate] = []
        cycle = self.placer.cycle_s
        for i, lane in enumerate(order.lanes):
            for new in insertable:
                if new == lane:
                    continue
                lanes, counts = list(order.lanes), list(order.counts)
                lanes[i] = int(new)
                counts[i] = max(self.least[new], round(counts[i] * cycle[lane] / cycle[new]))
                found.append((lanes, counts, list(order.waits_s)))
        return found

    def _insertions(self, order: Order, insertable: IntArray) -> list[Candidate]:
        found: list[Candidate] = []
        cycle, n = self.placer.cycle_s, len(order.lanes)
        for lane in insertable:
            least = self.least[lane]
            for length in (least, 2 * least):
                seconds = self.placer.run_s(int(lane), length) + 300.0
                for place in range(n + 1):
                    lanes, counts = list(order.lanes), list(order.counts)
                    waits = list(order.waits_s)
                    lanes.insert(place, int(lane))
                    counts.insert(place, length)
                    waits.insert(place, -np.inf)
                    found.append((lanes, counts, waits))
                    for j in range(n + 1):
                        if j == place:
                            continue
                        new = counts.copy()
                        spare = new[j] - self.least[lanes[j]]
                        if spare <= 0:
                            continue
                        new[j] -= min(spare, int(np.ceil(seconds / cycle[lanes[j]])))
                        found.append((lanes, new, waits))
        return found
