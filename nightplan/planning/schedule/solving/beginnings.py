"""Beginnings of the night, run after run, for as long as they may still beat a wanted value.

Prices bound what is still to come, but take what is done at a price as well; so a mix of two
nights passes for a night between them. A beginning knows what it has brought of each row. Its
bound is the utility of that, the most that further hours can add beyond their price, and the best
way onward at these prices. Beginnings that cannot beat the wanted value are left; if all of them
end, no schedule beats it, or the best end is the bound. Where too many are alive the wanted value
is raised until few enough are: less is proven then, but never nothing. To find good nights, not to
prove that there are none better, only the leading beginnings of each time are kept and the wanted
value stays.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from nightplan.planning.schedule.problem import BoolArray, FloatArray, IntArray
from nightplan.planning.schedule.solving.clock_steps import ClockSteps, Onward, Ways
from nightplan.planning.schedule.solving.completion import Completion
from nightplan.planning.schedule.solving.path_programme import Prices
from nightplan.planning.schedule.solving.utility_model import RowUtility

COMPARED = 100
TOO_MANY = 1.5
AT_ONCE, IN_CACHE = 4000, 250
BEST_ENDS = 300
# Columns of a beginning; the hours of each row follow. FREE_S is when it can end at the earliest,
# FOCUS_S when its last focus run can have ended at the latest, RUN_S how long its last run is.
HAS, COST, NAME, ENDED, FREE_S, FOCUS_S, RUN_S, HOURS = range(8)


@dataclass(frozen=True, eq=False)
class Night:
    """A whole night of runs: the most that it can be worth, and (lane, count) block by block."""

    value: float
    blocks: tuple[tuple[int, int], ...]


@dataclass(frozen=True, eq=False)
class Proof:
    """`bound` holds for every schedule, `wanted` being what it was raised to; `nights` are the best
    ends, best first."""

    wanted: float
    bound: float
    nights: tuple[Night, ...]
    grown: int


class Beginnings:
    """Grows beginnings over the programme's steps at given prices; `bound` is that of them all."""

    def __init__(self, programme: ClockSteps, utility: RowUtility, prices: Prices) -> None:
        self.programme = programme
        self.completion = Completion(utility, prices)
        self.onward = programme.onward(prices)
        self.nothing = np.zeros((1, HOURS + programme.rows))
        self.nothing[:, HAS] = self.completion.most(self.nothing[:, HOURS:])
        placer = programme.placer
        self.nothing[:, FOCUS_S] = placer.first_focus_s - placer.start_s
        first = self.onward.value[0, 2 * programme.lanes]
        self.bound = float(self.nothing[0, HAS] + first)

    def prove(self, wanted: float, alive: int) -> Proof:
        """Whether no schedule is worth more than `wanted`, or than little more if more than
        `alive` beginnings would have to be followed at a time."""
        growth = self._grown(wanted, alive, raises=True)
        wanted = growth.wanted
        return Proof(wanted, max(wanted, growth.best_end), growth.nights(), growth.grown)

    def find(self, wanted: float, alive: int) -> tuple[Night, ...]:
        """Nights worth more than `wanted`, if the `alive` leading beginnings of each time hold
        any; nothing is proven."""
        return self._grown(wanted, alive, raises=False).nights()

    def _grown(self, wanted: float, alive: int, *, raises: bool) -> _Growth:
        programme = self.programme
        growth = _Growth(programme, self.completion, self.onward, wanted)
        growth.begin(self.nothing)
        for low in range(0, programme.steps, programme.stretch):
            high = min(low + programme.stretch, programme.steps)
            growth.take(low, high)
            if growth.alive > TOO_MANY * alive:
                growth.thin(high, alive, raises)
        return growth


class _Growth:
    """One proof under way, stretch after stretch of steps: what begins in one ends behind it.

    Beginnings are rows of an array (beginning, column), those with the most in hand first;
    `waiting` holds them by state, `arriving` by stretch and state.
    """

    def __init__(
        self, programme: ClockSteps, completion: Completion, onward: Onward, wanted: float
    ) -> None:
        self.programme, self.completion, self.onward = programme, completion, onward
        self.wanted = wanted
        self.waiting: dict[int, FloatArray] = {}
        self.arriving: dict[int, dict[int, list[FloatArray]]] = {}
        self.alive, self.grown, self.best_end = 0, 1, -np.inf
        # By name: the beginning that each came from, and the move that it added.
        self.parents: list[IntArray] = [np.array([-1])]
        self.added: list[IntArray] = [np.array([-1])]
        self.ends: list[tuple[float, int]] = []
        # Whether runs may follow each other without a focus run between.
        before, lane = programme.changes
        self.blurs = not programme.focused[before, lane][before < programme.lanes].all()
        self.row_of_move = HOURS + programme.row[programme.moves.lane]

    def begin(self, nothing: FloatArray) -> None:
        """The night's beginning, which may also be its end."""
        self.best_end = float(self.completion.now(nothing[:, HOURS:])[0])
        self.arrive(0, 2 * self.programme.lanes, nothing)

    def arrive(self, step: int, state: int, some: FloatArray) -> None:
        """Beginnings that end in the stretch of a step."""
        self.alive += some.shape[0]
        by_state = self.arriving.setdefault(step // self.programme.stretch, {})
        by_state.setdefault(state, []).append(some)

    def take(self, low: int, high: int) -> None:
        """Let go, wait or grow: all that are there in the stretch of steps from low to high."""
        number = low // self.programme.stretch
        fresh = self.arriving.setdefault(number, {})
        # The night's beginning comes first, for what it opens with may end in the same stretch.
        self._visit(low, high, 2 * self.programme.lanes, fresh)
        for state in sorted({*self.waiting, *fresh} - {2 * self.programme.lanes}):
            self._visit(low, high, state, fresh)
        del self.arriving[number]

    def _visit(self, low: int, high: int, state: int, fresh: dict[int, list[FloatArray]]) -> None:
        lanes = self.programme.lanes
        parts = [self.waiting.pop(state)] if state in self.waiting else []
        parts += fresh.pop(state, [])
        self.alive -= sum(part.shape[0] for part in parts)
        if not parts:
            return
        here = self._sorted(low, state, parts)
        steps = np.arange(low, high)
        since = steps[None, :] - here[:, ENDED, None]
        if state == 2 * lanes or state < lanes:
            leave = self.onward.leave[low:high, min(state, lanes)]
            self._grow(steps, here, since >= 0.0, leave, self.programme.ways, state)
        if state < 2 * lanes:
            soon = (since >= 0.0) & (since < 2.0)
            goes_on = self.onward.goes_on[low:high, state % lanes]
            self._grow(steps, here, soon, goes_on, self.programme.goes_on, state % lanes)
        self._wait(high, state, here)

    def _wait(self, high: int, state: int, here: FloatArray) -> None:
        """Keep what may still beat the wanted value behind a stretch."""
        lanes = self.programme.lanes
        if high >= self.programme.steps:
            return
        if lanes <= state < 2 * lanes:
            # Too short for a run: gone on with at once, or not at all.
            here = here[here[:, ENDED] >= high - 1]
        here = here[here[:, HAS] + self.onward.value[high, state] > self.wanted]
        if here.size:
            self.waiting[state] = here
            self.alive += here.shape[0]

    def thin(self, step: int, alive: int, raises: bool) -> None:
        """Leave about so many beginnings from a step on, by their bounds; whether what is wanted
        `raises` to the least of those."""
        value = self.onward.value
        if step >= self.programme.steps:
            return
        self.alive = 0
        there = [
            (state, some, value[some[:, ENDED].astype(int), state])
            for by_state in self.arriving.values()
            for state, parts in by_state.items()
            for some in parts
        ]
        there += [(state, some, value[step, state]) for state, some in self.waiting.items()]
        bounds = np.concatenate([some[:, HAS] + ahead for _, some, ahead in there])
        least = max(self.wanted, float(np.partition(bounds, -alive)[-alive]))
        if raises:
            self.wanted = least
        waiting = len(there) - len(self.waiting)
        self.arriving = {}
        for number, (state, some, ahead) in enumerate(there):
            left = some[some[:, HAS] + ahead > least]
            if number >= waiting:
                self.waiting[state] = left
                self.alive += left.shape[0]
            elif left.size:
                self.arrive(int(left[0, ENDED]), state, left)

    def _sorted(self, low: int, state: int, parts: list[FloatArray]) -> FloatArray:
        """Beginnings of one stretch and state without those that cannot beat the wanted value or
        that another matches: at least as much of every row, no higher cost, free as early to the
        second, in as fresh a focus; if it may go on after a focus run, ended in the same step too.
        Only the few with most in hand are compared with the rest."""
        here = parts[0] if len(parts) == 1 else np.concatenate(parts)
        first = np.maximum(here[:, ENDED].astype(int), low)
        here = here[here[:, HAS] + self.onward.value[first, state] > self.wanted]
        if len(parts) == 1 or here.shape[0] < 2:
            return here
        here = here[np.argsort(-here[:, HAS], kind="stable")]
        lanes = self.programme.lanes
        hours, ended = here[:, HOURS:], here[:, ENDED]
        cost = here[:, COST] + self.completion.angles(hours)
        best = min(COMPARED, here.shape[0] - 1)
        matched = cost[None, :] >= cost[:best, None] - 1e-12
        # Row by row: a reduction over so short an axis takes several times as long.
        for brought in np.ascontiguousarray(hours.T):
            matched &= brought[None, :] <= brought[:best, None] + 1e-12
        # What has waited begins with the stretch.
        free_s = np.maximum(here[:, FREE_S], low * self.programme.step_s)
        matched &= free_s[None, :] >= free_s[:best, None] - 1e-9
        if self.blurs:
            matched &= here[None, :, FOCUS_S] <= here[:best, None, FOCUS_S]
        # A run that may go on: at the same time, and no nearer to its limits.
        run_s = here[:, RUN_S]
        alike = (ended[None, :] == ended[:best, None]) & (run_s[None, :] >= run_s[:best, None])
        if lanes <= state < 2 * lanes:
            alike &= run_s[None, :] == run_s[:best, None]
        matched &= alike | ~self._may_go_on(low, state, here)
        later = np.arange(here.shape[0])[None, :] > np.arange(best)[:, None]
        return here[~(matched & later).any(axis=0)]

    def _may_go_on(self, low: int, state: int, here: FloatArray) -> BoolArray:
        """Whether a focus run and more of the same lane may still beat the wanted value."""
        lanes = self.programme.lanes
        if state == 2 * lanes:
            return np.zeros(here.shape[0], dtype=bool)
        ended = here[:, ENDED].astype(int)
        goes_on = self.onward.goes_on[:, state % lanes]
        soon = np.maximum(goes_on[ended], goes_on[ended + 1])
        result: BoolArray = (ended >= low - 1) & (here[:, HAS] + soon > self.wanted)
        return result

    def _grow(
        self,
        steps: IntArray,
        here: FloatArray,
        may: BoolArray,
        most: FloatArray,
        ways: Callable[[Onward, IntArray, int], Ways],
        state: int,
    ) -> None:
        """Add each move to each beginning in each step, if that may still beat the wanted value.

        `may` (beginning, step): whether it can; `most` (step,): what the best move is worth.
        """
        may = may & (here[:, HAS, None] + most[None, :] > self.wanted)
        who, when = np.nonzero(may)
        if not who.size:
            return
        used = np.flatnonzero(may.any(axis=0))
        found = ways(self.onward, steps[used], state)
        place = np.searchsorted(used, when)
        needed = self.wanted - here[who, HAS]
        for begin in range(0, who.size, AT_ONCE):
            end = min(begin + AT_ONCE, who.size)
            pick, way = _worth_more(found.worth, place[begin:end], needed[begin:end])
            pick += begin
            self._add(here[who[pick]], steps[when[pick]], found, way)

    def _add(self, new: FloatArray, step: IntArray, ways: Ways, way: IntArray) -> None:
        """Beginnings with a move more each, those that may still beat the wanted value."""
        programme, moves = self.programme, self.programme.moves
        states, last = 2 * programme.lanes + 1, programme.steps - 1
        if not way.size:
            return
        move, focused = ways.move[way], ways.focused[way]
        # Any wait that is long enough is taken to have been used for a focus run.
        rules = programme.placer
        behind_s = (step + 1) * programme.step_s
        focused = focused | (behind_s > new[:, FREE_S] + rules.focus_s)
        focus_s = np.where(focused, behind_s + moves.lead_s[move], new[:, FOCUS_S])
        parent = new[:, NAME].astype(int)
        new[np.arange(move.size), self.row_of_move[move]] += moves.hours[step, move]
        new[:, COST] += ways.cost[way]
        new[:, HAS] = self.completion.most(new[:, HOURS:]) - new[:, COST]
        new[:, FREE_S] = programme.ends_s(step, new[:, FREE_S], move, ways.after_s[way])
        new[:, FOCUS_S] = focus_s
        to = moves.state[move]
        goes_on = moves.group[move] >= programme.going_on[0]
        run_s = moves.run_s[move] + np.where(goes_on, new[:, RUN_S] + rules.focus_s, 0.0)
        new[:, RUN_S] = run_s
        short = goes_on & (run_s < rules.shortest_s - 1e-6)
        to = np.where(short, programme.lanes + moves.lane[move], to)
        closed_s = new[:, FREE_S] - rules.problem.overheads.download_s
        fits = run_s <= rules.longest_s + 1e-6
        fits &= focused | (closed_s <= focus_s + rules.focus_every_s + 1e-6)
        at = np.minimum(np.floor((new[:, FREE_S] + 1e-9) / programme.step_s), last + 1.0)
        at = at.astype(int)
        ahead = self.onward.value[np.minimum(at, last), to]
        keep = np.flatnonzero(fits & (new[:, HAS] + ahead > self.wanted) & (at <= last))
        if not keep.size:
            return
        self.parents.append(parent[keep])
        self.added.append(move[keep])
        new, at, to = new[keep], at[keep], to[keep]
        new[:, NAME] = self.grown + np.arange(keep.size)
        new[:, ENDED] = at
        self.grown += keep.size
        self._note_ends(new[(to < programme.lanes) & (new[:, HAS] > self.wanted)])
        key = at // programme.stretch * states + to
        order = np.argsort(key, kind="stable")
        new, key, at, to = new[order], key[order], at[order], to[order]
        cuts = [0, *(np.flatnonzero(np.diff(key)) + 1).tolist(), key.size]
        for low, high in itertools.pairwise(cuts):
            self.arrive(int(at[low]), int(to[low]), new[low:high])

    def _note_ends(self, new: FloatArray) -> None:
        """Nights that may end so."""
        if not new.size:
            return
        value = self.completion.now(new[:, HOURS:]) - new[:, COST]
        self.best_end = max(self.best_end, float(value.max()))
        better = np.flatnonzero(value > self.wanted)
        better = better[np.argsort(-value[better], kind="stable")[:3]]
        self.ends += [(float(value[k]), int(new[k, NAME])) for k in better]

    def nights(self) -> tuple[Night, ...]:
        """The best ends, traced back to the night's beginning."""
        moves, lane_name = self.programme.moves, self.programme.lane_name
        parent, added = np.concatenate(self.parents), np.concatenate(self.added)
        nights = []
        for value, last in sorted(self.ends, reverse=True)[:BEST_ENDS]:
            blocks: list[tuple[int, int]] = []
            name = last
            while name > 0:
                move = added[name]
                blocks.append((int(lane_name[moves.lane[move]]), int(moves.count[move])))
                name = int(parent[name])
            nights.append(Night(value, tuple(reversed(blocks))))
        return tuple(nights)


def _worth_more(
    worth: FloatArray, place: IntArray, needed: FloatArray
) -> tuple[IntArray, IntArray]:
    """Beginnings and ways that are worth more than is `needed`, array (beginning,), by its `place`
    in `worth`, array (place, way): pairs, in order of beginnings."""
    found = []
    # In parts that a core's own memory holds.
    for begin in range(0, place.size, IN_CACHE):
        some = slice(begin, begin + IN_CACHE)
        flat = np.flatnonzero(worth[place[some]] > needed[some, None])
        found.append(flat + begin * worth.shape[1])
    return np.divmod(np.concatenate(found), worth.shape[1])
