"""Better orders of runs by small changes, each judged by exact placement.

An order is three arrays (run,): lane, count of subs, and a time that the run waits for. Moves:
longer and shorter, subs from one run to another, swap, shift, drop, put in, change the filter,
change the side of the pier, wait. All neighbours of an order are valued in one batch and the best
is taken, so the outcome does not depend on the machine's speed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from nightplan.planning.schedule.problem import FloatArray, IntArray
from nightplan.planning.schedule.solving.batch import NONE, BatchPlacer, Values
from nightplan.planning.schedule.solving.placement import Placer, Run

GAIN = 1e-6
BATCH = 600
SUMMED = 8
GIVERS = 3
GIVEN_S = 1800.0
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


def least_subs(placer: Placer, lane: int) -> int:
    """Subs of the shortest run that is long enough."""
    count = 1
    while placer.run_s(lane, count) < placer.shortest_s - 1e-6:
        count += 1
    return count


def merged(runs: Iterable[tuple[int, int, float]]) -> Candidate:
    """Runs (lane, count, wait), those of one lane side by side made one."""
    lanes: list[int] = []
    counts: list[int] = []
    waits: list[float] = []
    for lane, count, wait in runs:
        if lanes and lanes[-1] == lane:
            counts[-1] += count
        else:
            lanes.append(lane)
            counts.append(count)
            waits.append(wait)
    return lanes, counts, waits


class LocalSearch:
    """Improves orders; `spare` says whether there is time for another batch."""

    def __init__(self, batch: BatchPlacer, spare: Callable[[], bool]) -> None:
        self.batch, self.spare = batch, spare
        self.placer = batch.placer
        self.valued = 0
        self.least = [least_subs(self.placer, lane) for lane in range(len(self.placer.lanes))]
        if self.placer.resumed is not None:
            self.least[self.placer.resumed] = 1
        # Subs that one focus run holds for, and of those the whole rounds of dither.
        every = self.placer.dither_every
        most = [self.placer.most_by_focus(lane) for lane in range(len(self.placer.lanes))]
        self.held = [sorted({count, max(1, count - count % every)}) for count in most]

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

    def _better(self, order: Order, candidates: list[Candidate], gain: float) -> Order | None:
        """The best of the first batch that holds an order better by `gain`; where several of its
        candidates change nothing but counts and waits, also the best of their sums."""
        # Shuffled, always alike, so that a batch holds moves of every part of the night.
        order_of = np.random.default_rng(len(candidates)).permutation(len(candidates))
        own: Candidate = (list(order.lanes), list(order.counts), list(order.waits_s))
        for begin in range(0, len(candidates), BATCH):
            # The order itself comes first, for its neighbours begin as it does.
            batch = [own, *(candidates[k] for k in order_of[begin : begin + BATCH])]
            values = self._values(batch)
            best = np.argsort(-values.objective, kind="stable")[:SUMMED]
            found = self._order(values, batch, int(best[0]))
            if found.objective > order.objective + gain:
                better = [batch[k] for k in best if values.objective[k] > order.objective]
                summed = self.best_of(self._sums(own, better))
                if summed is None or found.objective >= summed.objective:
                    return found
                return summed
            if not self.spare():
                return None
        return None

    def _sums(self, own: Candidate, better: list[Candidate]) -> list[Candidate]:
        """The first two, three and so on of some changes of counts and waits made at once."""
        lanes, counts, waits = own
        changed, waiting = np.array(counts), list(waits)
        least = np.array(self.least)[lanes]
        found: list[Candidate] = []
        for _, count, wait in (one for one in better if one[0] == lanes):
            changed = changed + np.array(count) - np.array(counts)
            waiting = [
                kept if new == old else new
                for new, old, kept in zip(wait, waits, waiting, strict=True)
            ]
            found.append((lanes, [int(n) for n in np.maximum(least, changed)], waiting))
        return found[1:]

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
        size = len(candidates)
        length = np.array([len(lanes) for lanes, _, _ in candidates])
        shape = (size, max(1, int(length.max())))
        there = np.arange(shape[1])[None, :] < length[:, None]
        lanes, counts = np.full(shape, NONE), np.zeros(shape, dtype=np.int64)
        waits = np.full(shape, -np.inf)
        for number, filled in enumerate((lanes, counts, waits)):
            filled[there] = list(chain.from_iterable(c[number] for c in candidates))
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

    def grow(self, block_s: float) -> Order:
        """An order built from the front: always the block of about `block_s` that gains most a
        minute, its lead counted; as long as any gains."""
        order = Order(self.batch.utility.constant(), (), (), ())
        ended = self.placer.start_s
        lanes = range(len(self.placer.lanes))
        block = [max(self.least[k], self.placer.fitting(k, block_s)) for k in lanes]
        while self.spare():
            own: Candidate = (list(order.lanes), list(order.counts), list(order.waits_s))
            longer = [own]
            for lane in lanes:
                counts = [*own[1], block[lane]]
                if own[0] and own[0][-1] == lane:
                    counts = [*own[1][:-1], own[1][-1] + block[lane]]
                    longer.append((own[0], counts, own[2]))
                else:
                    longer.append(([*own[0], lane], counts, [*own[2], -np.inf]))
            values = self._values(longer)
            gained, took = values.objective - order.objective, values.ended_s - ended
            rate = np.where(took > 1.0, gained / np.maximum(took, 1.0), 0.0)
            best = int(rate.argmax())
            if rate[best] <= 0.0:
                break
            order, ended = self._order(values, longer, best), float(values.ended_s[best])
        return order

    def improve(
        self, order: Order, insertable: IntArray, allowance: int = 10**9, gain: float = GAIN
    ) -> Order:
        """Climb from an order by steps of at least `gain`; `insertable` are the lanes worth
        putting in. It ends on the top, or when `allowance` candidates were valued."""
        kinds = [
            self._counts,
            self._moves,
            lambda current: self._replacements(current, insertable),
            lambda current: self._insertions(current, insertable),
            self._spared,
        ]
        return self._climbed(order, kinds, allowance, gain)

    def _climbed(
        self,
        order: Order,
        kinds: Sequence[Callable[[Order], list[Candidate]]],
        allowance: int,
        gain: float,
    ) -> Order:
        level = 0
        end = self.valued + allowance
        while level < len(kinds) and self.valued < end and self.spare():
            found = self._better(order, kinds[level](order), gain)
            if found is not None:
                order, level = found, 0
            else:
                level += 1
        return order

    def shake(
        self, order: Order, likely: IntArray, allowance: int, seed: int, gain: float = GAIN
    ) -> Order:
        """Drop or reorder some runs, climb again by steps of `gain`, keep what is better; and so
        on, until so many candidates were valued. Always the same from the same seed."""
        random = np.random.default_rng(seed)
        end = self.valued + allowance
        while self.valued < end and self.spare() and len(order.lanes) > 1:
            found = self.best_of([self._kicked(order, random)])
            if found is not None and found.lanes:
                found = self.improve(found, likely, end - self.valued, gain)
                if found.objective > order.objective + GAIN:
                    order = found
        return order

    def _kicked(self, order: Order, random: np.random.Generator) -> Candidate:
        """The order without one to three runs from anywhere, or without a stretch of up to four,
        or with a stretch of up to six in another order; nothing waits."""
        runs = len(order.lanes)
        kind = int(random.integers(3))
        if kind == 0:
            length = int(random.integers(1, min(4, runs)))
            out = random.choice(runs, length, replace=False)
            places = [i for i in range(runs) if i not in out]
        else:
            length = int(random.integers(kind, min(3 + 2 * kind, runs + kind - 1)))
            begin = int(random.integers(0, runs - length + 1))
            stretch = begin + random.permutation(length)
            places = [*range(begin), *range(begin + length, runs)]
            if kind == 2:
                places[begin:begin] = [int(i) for i in stretch]
        return merged((order.lanes[i], order.counts[i], -np.inf) for i in places)

    def joined(self, order: Order, loss: float) -> Order:
        """Runs of one lane side by side made one, counts and waits climbed anew; the order itself
        where that loses more than `loss`. Centring a target anew for a better beat of focus runs
        gains next to nothing, and nobody at the mount would do it."""
        joined = merged(zip(order.lanes, order.counts, order.waits_s, strict=True))
        if len(joined[0]) == len(order.lanes):
            return order
        best = self.best_of([joined])
        if best is not None:
            best = self._climbed(best, [self._counts, self._spared], 10**9, GAIN)
        return order if best is None or best.objective < order.objective - loss else best

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
                        add({i: step, j: -math.ceil(back - 1e-9)})
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

    def _spared(self, order: Order) -> list[Candidate]:
        """Runs so much shorter that a focus run can go, its time and theirs to another run; and
        so late that they just end in time."""
        lanes, counts, waits = list(order.lanes), list(order.counts), list(order.waits_s)
        placer, found = self.placer, []
        placed = placer.place(order.runs)
        for i, lane in enumerate(lanes):
            for held in self.held[lane]:
                kept = (counts[i] - 1) // held * held
                if kept < self.least[lane]:
                    continue
                spared = placer.run_s(lane, counts[i] - kept) + placer.focus_s
                shorter = counts.copy()
                shorter[i] = kept
                found.append((lanes, shorter, waits))
                for j, other in enumerate(lanes):
                    if i != j:
                        given = shorter.copy()
                        given[j] += int(spared / placer.cycle_s[other])
                        found.append((lanes, given, waits))
            # As it lies now, and as it would lie begun in fresh focus.
            lengths = {placer.lasts_s(lane, counts[i])}
            if len(placed) == len(lanes):
                lengths.add(placed[i].end_s - placed[i].start_s)
            for length in sorted(lengths):
                for _, high in placer.spans[lane]:
                    if high > order.start_s[i] + length:
                        later = waits.copy()
                        later[i] = high - length
                        found.append((lanes, counts, later))
        return found

    def _moves(self, order: Order) -> list[Candidate]:
        items = list(zip(order.lanes, order.counts, order.waits_s, strict=True))
        found: list[Candidate] = []

        def add(new: list[tuple[int, int, float]]) -> None:
            found.append(merged(new))

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
        """A new run anywhere, in time that is free, or that the run before or behind it gives up,
        or one of the `GIVERS` that lose least by giving."""
        found: list[Candidate] = []
        cycle, n = self.placer.cycle_s, len(order.lanes)
        givers = self._givers(order)
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
                    for giver in sorted({*givers, place - 1, place} & set(range(n))):
                        j = giver + (giver >= place)
                        new = counts.copy()
                        spare = new[j] - self.least[lanes[j]]
                        if spare <= 0:
                            continue
                        new[j] -= min(spare, math.ceil(seconds / cycle[lanes[j]]))
                        found.append((lanes, new, waits))
        return found

    def _givers(self, order: Order) -> list[int]:
        """Runs that lose least by being half an hour shorter."""
        shorter: list[Candidate] = []
        for i, lane in enumerate(order.lanes):
            counts = list(order.counts)
            subs = math.ceil(GIVEN_S / self.placer.cycle_s[lane])
            counts[i] = max(self.least[lane], counts[i] - subs)
            shorter.append((list(order.lanes), counts, list(order.waits_s)))
        if not shorter:
            return []
        best = np.argsort(-self._values(shorter).objective, kind="stable")
        return [int(i) for i in best[:GIVERS]]
