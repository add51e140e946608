"""Beginnings of the night, run after run, for as long as they may still beat a wanted value.

Prices bound what is still to come, but take what is done at a price as well; so a mix of two
nights passes for a night between them. A beginning knows what it has brought of each row. Its
bound is the utility of that, the most that further hours can add beyond their price, and the best
way onward at these prices. Beginnings that cannot beat the wanted value are left; if all of them
end, no schedule beats it, or the best end is the bound. Where too many are alive the wanted value
is raised until few enough are: less is proven then, but never nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from nightplan.planning.schedule.problem import FloatArray, IntArray
from nightplan.planning.schedule.solving.clock_steps import ClockSteps, Onward
from nightplan.planning.schedule.solving.completion import Completion
from nightplan.planning.schedule.solving.path_programme import Prices
from nightplan.planning.schedule.solving.utility_model import RowUtility

COMPARED = 60
BEST_ENDS = 20
# Columns of a beginning; the hours of each row follow. FREE_S is when it can end at the earliest.
HAS, COST, NAME, ENDED, FREE_S, HOURS = range(6)


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
        first = self.onward.value[0, 2 * programme.lanes]
        self.bound = float(self.nothing[0, HAS] + first)

    def prove(self, wanted: float, alive: int) -> Proof:
        """Whether no schedule is worth more than `wanted`, or than little more if more than
        `alive` beginnings would have to be followed at a time."""
        growth = _Growth(self.programme, self.completion, self.onward, wanted)
        growth.arrive(0, 2 * self.programme.lanes, self.nothing)
        for step in range(self.programme.steps):
            growth.take(step)
            if growth.alive > 1.5 * alive:
                growth.thin(step, alive)
        wanted = growth.wanted
        return Proof(wanted, max(wanted, growth.best_end), growth.nights(), growth.grown)


class _Growth:
    """One proof under way.

    Beginnings are rows of an array (beginning, column), those with the most in hand first;
    `waiting` holds them by state, `arriving` by step and state.
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
        self.row_of_move = HOURS + programme.row[programme.moves.lane]

    def arrive(self, step: int, state: int, some: FloatArray) -> None:
        """Beginnings that end in a step."""
        self.alive += some.shape[0]
        self.arriving.setdefault(step, {}).setdefault(state, []).append(some)

    def take(self, step: int) -> None:
        """Let go, wait or grow: all that are there in a step."""
        lanes, onward = self.programme.lanes, self.onward
        fresh = self.arriving.pop(step, {})
        for state in sorted({*self.waiting, *fresh}):
            parts = [self.waiting.pop(state)] if state in self.waiting else []
            parts += fresh.get(state, [])
            self.alive -= sum(part.shape[0] for part in parts)
            here = parts[0]
            if state in fresh:
                here = self._sorted(step, parts, onward.value[step, state])
            unfinished = lanes <= state < 2 * lanes
            if unfinished:
                # Too short for a run: gone on with at once, or not at all.
                here = here[step - here[:, ENDED] < 2.0]
            least = self.wanted - onward.value[step, state]
            here = here[: np.searchsorted(-here[:, HAS], -least)]
            if not here.size:
                continue
            self.waiting[state] = here
            self.alive += here.shape[0]
            least = self.wanted - float(here[0, HAS])
            if not unfinished and onward.leave[step, min(state, lanes)] > least:
                move, worth = self.programme.ways(onward, step, state)
                cost = self.programme.cost[min(state, lanes), self.programme.moves.lane[move]]
                self._grow(step, here, move, worth, cost)
            if state < 2 * lanes and onward.goes_on[step, state % lanes] > least:
                soon = here[step - here[:, ENDED] < 2.0]
                if soon.size:
                    move, worth = self.programme.goes_on(onward, step, state % lanes)
                    self._grow(step, soon, move, worth, np.zeros(move.size))

    def thin(self, step: int, alive: int) -> None:
        """Raise the wanted value so that about so many beginnings are left after a step."""
        value = self.onward.value
        there = [
            (at, state, some)
            for at, by_state in self.arriving.items()
            for state, parts in by_state.items()
            for some in parts
        ]
        there += [(step, state, some) for state, some in self.waiting.items()]
        bounds = np.concatenate([some[:, HAS] + value[at, state] for at, state, some in there])
        self.wanted = max(self.wanted, float(np.partition(bounds, -alive)[-alive]))
        self.arriving, self.alive = {}, 0
        for at, state, some in there:
            left = some[some[:, HAS] + value[at, state] > self.wanted]
            if at == step:
                self.waiting[state] = left
                self.alive += left.shape[0]
            elif left.size:
                self.arrive(at, state, left)

    def _sorted(self, step: int, parts: list[FloatArray], ahead: float) -> FloatArray:
        """Beginnings of one step and state without those that cannot beat the wanted value or
        that another matches: at least as much of every row, no higher cost, ended as late or
        later by the step (so that a focus run may follow) and as early or earlier by the second.
        Only the few with most in hand are compared with the rest."""
        here = np.concatenate(parts)
        here = here[here[:, HAS] + ahead > self.wanted]
        if here.shape[0] < 2:
            return here
        here = here[np.argsort(-here[:, HAS], kind="stable")]
        hours, ended = here[:, HOURS:], here[:, ENDED]
        cost = here[:, COST] + self.completion.angles(hours)
        best = min(COMPARED, here.shape[0] - 1)
        matched = (hours[None, :, :] <= hours[:best, None, :] + 1e-12).all(axis=2)
        matched &= cost[None, :] >= cost[:best, None] - 1e-12
        matched &= ended[None, :] <= ended[:best, None]
        # What has waited begins with the step.
        free_s = np.maximum(here[:, FREE_S], step * self.programme.step_s)
        matched &= free_s[None, :] >= free_s[:best, None] - 1e-9
        later = np.arange(here.shape[0])[None, :] > np.arange(best)[:, None]
        return here[~(matched & later).any(axis=0)]

    def _grow(
        self, step: int, here: FloatArray, move: IntArray, worth: FloatArray, cost: FloatArray
    ) -> None:
        """Add each move to each beginning, if that may still beat the wanted value."""
        moves, states = self.programme.moves, 2 * self.programme.lanes + 1
        pick, way = np.nonzero(here[:, HAS][:, None] + worth[None, :] > self.wanted)
        if not pick.size:
            return
        move = move[way]
        new = here[pick]
        new[np.arange(pick.size), self.row_of_move[move]] += moves.hours[step, move]
        new[:, COST] += cost[way]
        new[:, HAS] = self.completion.most(new[:, HOURS:]) - new[:, COST]
        new[:, FREE_S] = self.programme.ends_s(step, new[:, FREE_S], move)
        last = self.programme.steps - 1
        at = np.minimum(np.floor((new[:, FREE_S] + 1e-9) / self.programme.step_s), last + 1.0)
        at, to = at.astype(int), moves.state[move]
        ahead = self.onward.value[np.minimum(at, last), to]
        keep = np.flatnonzero((new[:, HAS] + ahead > self.wanted) & (at <= last))
        if not keep.size:
            return
        self.parents.append(new[keep, NAME].astype(int))
        self.added.append(move[keep])
        new, at, to = new[keep], at[keep], to[keep]
        new[:, NAME] = self.grown + np.arange(keep.size)
        new[:, ENDED] = at
        self.grown += keep.size
        self._note_ends(new[(to < self.programme.lanes) & (new[:, HAS] > self.wanted)])
        key = at * states + to
        order = np.argsort(key, kind="stable")
        new, key = new[order], key[order]
        cuts = [0, *(np.flatnonzero(np.diff(key)) + 1).tolist(), key.size]
        for low, high in zip(cuts[:-1], cuts[1:], strict=True):
            self.arrive(*divmod(int(key[low]), states), new[low:high])

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
        for value, name in sorted(self.ends, reverse=True)[:BEST_ENDS]:
            blocks: list[tuple[int, int]] = []
            while name > 0:
                move = added[name]
                blocks.append((int(lane_name[moves.lane[move]]), int(moves.count[move])))
                name = int(parent[name])
            nights.append(Night(value, tuple(reversed(blocks))))
        return tuple(nights)
