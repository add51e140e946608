"""The night cut into cells, with what a run from one cell border to another can bring at most.

The bound comes from a path through cell borders. For it to hold for every whole-sub schedule,
whose runs begin and end anywhere, each arc's hours over-estimate every real run that begins (its
slew or filter change included) within a cell of the arc's first border and ends within a cell of
its last. Worth enters by its exact integral; moving a border inside a cell changes the reward by
a function that differs from a linear one by at most cell length / 4 x the spread of worth in
the cell (on either side), so the largest value lies at a cell border up to that amount, which is
added. That is of second order in the cell length: 3-minute cells cost seconds, not minutes. Runs
must be at least two cells long, lest both their ends move to one border; but for the one that the
rig goes on with, which may be a single sub and has arcs from a border to itself.

With d subs to a dither, P = d (sub + download) + dither and eff = d sub / P, a block of n subs
from s to e collects at most  eff (integral of worth over [s, e] + dither worth(e)
+ (download + dither) x total decrease of worth).
The shutter is open early in each cycle, hence the last term; the dither after the last sub is
spared, hence the second.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from nightplan.planning.schedule.problem import HOUR_S, BoolArray, FloatArray, IntArray
from nightplan.planning.schedule.solving.cell_arcs import Arcs, Reach, joined, ordered
from nightplan.planning.schedule.solving.flips import flip_arcs
from nightplan.planning.schedule.solving.placement import FIRST, Placer

CLASS_GAP_S = 90.0
TURN_STEP_S = 30.0


@dataclass(frozen=True, eq=False)
class Cells:
    """What the bound's path programme runs over. K lanes, one more is FIRST.

    Leads fall into classes by length, for the longer the lead within a stretch of time, the fewer
    focus runs the rest of it needs.

    arcs : every run, and every pair of runs across a flip.
    opening : those too short for a lead, open only to the night's first run.
    lead_class : (from lane + FIRST, to lane) class of each lead.
    lead : (border, from lane + FIRST, to lane) least hours lost to the lead.
    cost : (from lane + FIRST, to lane) change cost, utility.
    barred : (border, from, to) bool: the change cannot be.
    """

    borders_s: FloatArray
    arcs: Arcs
    opening: Arcs
    classes: int
    lead_class: IntArray
    lead: FloatArray
    cost: FloatArray
    barred: BoolArray


def cell_borders(placer: Placer, step_s: float) -> FloatArray:
    """Borders at most `step_s` apart, with the edges of the lanes' spans among them, array."""
    start, end = placer.start_s, placer.end_s
    if end <= start:
        return np.array([start])
    edges = sorted({edge for spans in placer.spans for span in spans for edge in span})
    fixed = [start]
    for edge in edges:
        if edge - fixed[-1] >= 0.2 * step_s and end - edge >= 0.2 * step_s:
            fixed.append(edge)
    fixed.append(end)
    pieces = [
        np.linspace(low, high, max(1, math.ceil((high - low) / step_s - 1e-9)) + 1)[:-1]
        for low, high in itertools.pairwise(fixed)
    ]
    return np.concatenate([*pieces, [end]])


def build_cells(
    placer: Placer,
    step_s: float,
    most_classes: int = 3,
    reach: Reach | None = None,
    flips: bool = True,
) -> Cells:
    """Cut the night and bound every run; see the module's text for why it holds.

    `reach` leaves out lanes and times that coarser cells have ruled out. `flips`: a task that
    goes on across its meridian is one arc.
    """
    borders = cell_borders(placer, step_s)
    lanes = len(placer.lanes)
    longest = _most_cells(placer, borders)
    leads = np.array(placer.lead_s)
    focused = leads + np.where(np.array(placer.lead_focus), 0.0, placer.focus_s)
    lead_class, tops = _lead_classes(focused, most_classes)
    # So that few lengths are told apart, what they cost counts turns of the camera as a bit less.
    turns = np.array(placer.turns_s)
    at_least = leads - np.minimum(leads, turns - TURN_STEP_S * np.floor(turns / TURN_STEP_S))
    values, category = np.unique(np.floor(1e6 * at_least) / 1e6, return_inverse=True)
    category = category.reshape(leads.shape)
    lost = np.full((borders.size, values.size, lanes), np.inf)
    arcs: list[Arcs] = []
    opening: list[Arcs] = []
    for lane in range(lanes) if reach is None else sorted(reach.alone):
        # The first run without a lead has its own arcs, those of `opening`.
        led = leads[:, lane] > 0.0
        least = [
            float(leads[led & (lead_class[:, lane] == number), lane].min(initial=top))
            for number, top in enumerate(tops)
        ]
        within = None if reach is None else reach.runs(lane, borders)
        for span in placer.spans[lane]:
            piece = _Span(placer, borders, lane, span, longest)
            piece.arcs(arcs, opening if leads[-1, lane] == 0.0 else None, least, tops, within)
            piece.fill_lost(lost[:, :, lane], values, np.unique(category[:, lane]), tops[-1])
    lost[~np.isfinite(lost)] = 0.0
    lead = lost[:, category, np.arange(lanes)[None, :]]
    single, first = joined(arcs), joined(opening)
    across = across_first = joined([])
    if flips:
        across = flip_arcs(placer, borders, single, lead_class, lead, reach)
    if flips and first.lane.size:
        # Only the run before the flip can be the short one that opens the night.
        after = single.only(np.array(placer.after[:-1], dtype=bool)[single.lane])
        across_first = flip_arcs(placer, borders, joined([first, after]), lead_class, lead, reach)
    return Cells(
        borders_s=borders,
        arcs=ordered(joined([single, across])),
        opening=ordered(joined([first, across_first])),
        classes=len(tops),
        lead_class=lead_class,
        lead=lead,
        cost=change_costs(placer),
        barred=barred_changes(placer, borders, flips),
    )


def _lead_classes(leads_s: FloatArray, most: int) -> tuple[IntArray, list[float]]:
    """Class of each lead, and the longest lead of each class, rising."""
    values = np.unique(leads_s)
    splits = np.flatnonzero(np.diff(values) > CLASS_GAP_S)
    if splits.size > most - 1:
        widest = np.argsort(-np.diff(values)[splits], kind="stable")[: most - 1]
        splits = np.sort(splits[widest])
    tops = np.array([*values[splits], values[-1]])
    return np.searchsorted(tops, leads_s), [float(top) for top in tops]


def _most_lead(placer: Placer) -> float:
    """The longest lead, with the focus run that the clock may add to one that has none."""
    leads = np.array(placer.lead_s) + np.where(np.array(placer.lead_focus), 0.0, placer.focus_s)
    return float(leads.max(initial=0.0))


def _most_cells(placer: Placer, borders: FloatArray) -> int:
    """Cells that the longest run spans, its lead included."""
    limit = placer.longest_s + _most_lead(placer)
    last = np.searchsorted(borders, borders + limit, side="right")
    return int(min(borders.size - 1, np.max(last - np.arange(borders.size)) + 2))


class _Span:
    """One span of one lane on the cell borders: worth masked to the span."""

    def __init__(
        self,
        placer: Placer,
        borders: FloatArray,
        lane: int,
        span: tuple[float, float],
        longest: int,
    ) -> None:
        self.placer, self.borders, self.lane = placer, borders, lane
        self.low, self.high = span
        self.task = placer.lanes[lane].task
        self.longest = longest
        self.tables: dict[str, FloatArray] = {}
        rules = placer.problem.overheads
        sub, cycle, d = placer.sub_s[lane], placer.cycle_s[lane], placer.dither_every
        self.eff = d * sub / (d * cycle + rules.dither_s)
        problem = placer.problem
        self.grid, self.worth = problem.grid_s, problem.tasks[self.task].worth
        # Highest, lowest and fall of worth in each cell, inside the span.
        inner = self.grid[(self.grid > self.low) & (self.grid < self.high)]
        points = np.unique(np.concatenate([borders, inner, [self.low, self.high]]))
        points = points[(points >= borders[0]) & (points <= borders[-1])]
        at = np.interp(points, self.grid, self.worth)
        cell = np.clip(np.searchsorted(borders, points[:-1], side="right") - 1, 0, None)
        cells = borders.size - 1
        inside = (points[:-1] >= self.low) & (points[1:] <= self.high)
        self.top = np.zeros(cells)
        self.least = np.full(cells, np.inf)
        self.fall = np.zeros(cells)
        np.maximum.at(self.top, cell[inside], np.maximum(at[:-1], at[1:])[inside])
        np.minimum.at(self.least, cell[inside], np.minimum(at[:-1], at[1:])[inside])
        np.add.at(self.fall, cell[inside], np.maximum(0.0, at[:-1] - at[1:])[inside])
        covered = np.zeros(cells)
        np.add.at(covered, cell[inside], np.diff(points)[inside])
        self.partly = covered < np.diff(borders) * (1.0 - 1e-9)
        floor = np.where(self.partly, 0.0, self.least)
        self.spread = self.top - np.where(np.isfinite(floor), floor, 0.0)
        self.least[~np.isfinite(self.least)] = np.inf
        self.sum_s = self._integral(borders)

    def _integral(self, times: FloatArray) -> FloatArray:
        clipped = np.clip(times, self.low, self.high)
        return self.placer.problem.worth_until(self.task, clipped)

    def arcs(
        self,
        found: list[Arcs],
        opening: list[Arcs] | None,
        least_leads: list[float],
        most_leads: list[float],
        within: BoolArray | None,
    ) -> None:
        """Add the runs of this span, class by class of leads, between borders that are `within`;
        `opening` is None for a lane that the night's first run cannot reach without a lead."""
        placer, borders, lane = self.placer, self.borders, self.lane
        earliest = self.low - most_leads[-1]
        if placer.after[lane]:
            # What leads to the far side of the pier begins after the transit.
            earliest = max(earliest, min(self.low, placer.transit_s[lane]))
        first = max(0, int(np.searchsorted(borders, earliest + 1e-6, side="right")) - 1)
        last = int(np.searchsorted(borders, self.high - 1e-9, side="left"))
        if last <= first:
            return
        # Pairs with 0 < b - a <= longest, both counted from `first`; 0 too for the rig's own run.
        nearest = -1 if lane == placer.resumed else 0
        pairs = np.tri(last - first, last - first + 1, min(self.longest, last - first), dtype=bool)
        pairs &= ~np.tri(last - first, last - first + 1, nearest, dtype=bool)
        if within is not None:
            pairs &= within[first:last, first : last + 1]
        a, b = np.nonzero(pairs)
        a, b = a + first, b + first
        before = np.concatenate([borders[:1], borders[:-1]])
        after = np.concatenate([borders[1:], borders[-1:]])
        # Time that the subs can have at most.
        end = np.minimum(after[b], self.high)
        most = end - np.maximum(before[a], self.low)
        useful = most >= self._least_run(0.0)
        a, b, most, end = a[useful], b[useful], most[useful], end[useful]
        shared = self._shared(a, b)
        credit = placer.credit_s if lane == placer.resumed else 0.0
        for number, (least, top) in enumerate(zip(least_leads, most_leads, strict=True)):
            # Time that the subs must have at least.
            bare = np.minimum(before[b], self.high) - np.maximum(after[a] + top, self.low)
            led = end - np.maximum(before[a] + least, self.low)
            inside = bare <= placer.longest_s + 1e-6
            fits = inside & (led >= self._least_run(placer.shortest_s)) & (b > a)
            which = np.flatnonzero(fits)
            found.append(self._columns(a, b, number, which, bare, top, shared))
            if number == 0 and opening is not None:
                fits_first = most >= self._least_run(placer.shortest_s - credit)
                which = np.flatnonzero(inside & ~fits & fits_first)
                opening.append(self._columns(a, b, number, which, bare, top, shared))

    def _columns(
        self,
        a: IntArray,
        b: IntArray,
        number: int,
        which: IntArray,
        bare: FloatArray,
        most_lead: float,
        shared: tuple[FloatArray, ...],
    ) -> Arcs:
        a, b = a[which], b[which]
        some = tuple(values[which] for values in shared)
        hours, pauses = self._most_hours(a, b, bare[which], most_lead, some)
        small = np.int32
        lane, kind = np.full(a.size, self.lane, small), np.full(a.size, number, small)
        a, b = a.astype(small), b.astype(small)
        return Arcs(lane, lane, a, a, b, kind, hours, pauses + 1.0)

    def _least_run(self, shortest_s: float) -> float:
        """Length of the shortest run of whole subs, with or without focus runs in it."""
        placer, lane = self.placer, self.lane
        found = np.inf
        for pauses in range(3):
            free = placer.focus_s * pauses
            count = pauses + 1
            while True:
                dithers = max(0, (count - 1) // placer.dither_every - pauses)
                length = count * placer.cycle_s[lane] + dithers * placer.dither_s + free
                if length >= shortest_s - 1e-6:
                    break
                count += 1
            found = min(found, length)
        return found - 1e-6

    def _shared(self, a: IntArray, b: IntArray) -> tuple[FloatArray, ...]:
        """Of arcs, whatever their lead: worth with dithers and without, what a dither spared is
        worth at most and a focus run at least, equivalent seconds."""
        rules = self.placer.problem.overheads
        cells = self.borders.size - 1
        none = np.zeros(1)
        loose = 0.25 * np.diff(self.borders) * self.spread
        loose = np.maximum(np.concatenate([none, loose]), np.concatenate([loose, none]))
        top = np.maximum(np.concatenate([none, self.top]), np.concatenate([self.top, none]))
        fall = np.concatenate([none, np.cumsum(self.fall)])
        # A run from within a cell beside a to within a cell beside b sees cells a - 1 to b.
        low, high = np.maximum(a - 1, 0), np.minimum(b, cells - 1)
        drop = fall[high + 1] - fall[low]
        body = self.sum_s[b] - self.sum_s[a] + loose[a] + loose[b]
        dithered = body + rules.dither_s * top[b] + (rules.download_s + rules.dither_s) * drop
        spared = rules.dither_s * self._extreme(self.top, low, high, np.maximum)
        return dithered, body + rules.download_s * drop, spared, self._pause_s(low, high)

    def _most_hours(
        self,
        a: IntArray,
        b: IntArray,
        bare: FloatArray,
        most_lead: float,
        shared: tuple[FloatArray, ...],
    ) -> tuple[FloatArray, FloatArray]:
        """The bound of the module's text, and how many focus runs part the run at least."""
        placer, lane = self.placer, self.lane
        rules = placer.problem.overheads
        cells = self.borders.size - 1
        sub, cycle = placer.sub_s[lane], placer.cycle_s[lane]
        dithered, plain, spared, anywhere = shared
        focused = max(
            placer.run_s(lane, placer.fitting(lane, rules.focus_every_s + cycle - sub)), cycle
        )
        pauses = np.ceil((bare + rules.focus_s) / (focused + rules.focus_s) - 1e-9) - 1.0
        pauses = np.maximum(0.0, pauses)
        pause = anywhere - spared
        # A single pause lies where neither what is before nor what is behind it is too long;
        # of more the lowest worth of the whole run is taken, as of two where one would do.
        once = np.flatnonzero(pauses == 1.0)
        a1, b1 = a[once], b[once]
        after, before = self.borders[np.minimum(a1 + 1, cells)], self.borders[b1 - 1]
        begin = np.minimum(before, self.high) - rules.focus_s - focused
        end = np.maximum(after + most_lead, self.low) + focused + rules.focus_s
        low, high = np.maximum(a1 - 1, 0), np.minimum(b1, cells - 1)
        first = np.clip(np.searchsorted(self.borders, begin, side="right") - 1, low, high)
        last = np.clip(np.searchsorted(self.borders, end, side="left") - 1, first, high)
        single = self._pause_s(first, last) - spared[once]
        pause[once] = np.minimum(single, 2.0 * pause[once])
        # Where a focus run would cost less than the dither it spares, dithers count for nothing.
        most_s = np.where(
            pause >= 0.0, self.eff * (dithered - pauses * pause), (sub / cycle) * plain
        )
        return np.maximum(0.0, most_s) / HOUR_S, pauses

    def _pause_s(self, first: IntArray, last: IntArray) -> FloatArray:
        """Least worth lost to a focus run in cells `first` to `last`, equivalent seconds."""
        lowest = self._extreme(self.least, first, last, np.minimum)
        return self.placer.focus_s * np.where(np.isfinite(lowest), lowest, 0.0)

    def _extreme(
        self, values: FloatArray, first: IntArray, last: IntArray, of: np.ufunc
    ) -> FloatArray:
        """Lowest or highest of `values` from cell `first` to `last`, by a sparse table."""
        key = "least" if of is np.minimum else "top"
        if key not in self.tables:
            levels = [values]
            while 2 ** len(levels) <= values.size:
                step = 2 ** (len(levels) - 1)
                shifted = np.concatenate([levels[-1][step:], np.repeat(levels[-1][-1:], step)])
                levels.append(of(levels[-1], shifted))
            self.tables[key] = np.stack(levels)
        table = self.tables[key]
        level = np.log2(np.maximum(last - first + 1, 1)).astype(int)
        result: FloatArray = of(table[level, first], table[level, last - (1 << level) + 1])
        return result

    def fill_lost(
        self, lost: FloatArray, leads_s: FloatArray, wanted: IntArray, most_lead: float
    ) -> None:
        """Least worth lost to each lead (border, lead) from within a cell of each border; of the
        leads those `wanted`."""
        borders = self.borders
        knots = np.concatenate([self.grid, [self.low, self.high]])
        slope = 0.0
        inside = (self.grid >= self.low - 1e-9) & (self.grid <= self.high + 1e-9)
        if inside.sum() > 1:
            slopes = np.diff(self.worth[inside]) / np.diff(self.grid[inside])
            slope = float(max(0.0, np.max(slopes)) - min(0.0, np.min(slopes)))
        first = int(np.searchsorted(borders, self.low - most_lead, side="left"))
        last = int(np.searchsorted(borders, self.high, side="left"))
        mine = slice(max(0, first - 1), last + 1)
        first_s = float(borders[0])
        if self.placer.after[self.lane]:
            first_s = max(first_s, min(self.low, self.placer.transit_s[self.lane]))
        for number in wanted:
            lead = leads_s[number]
            if lead <= 0.0:
                lost[mine, number] = 0.0
                continue
            points = np.unique(np.concatenate([borders, knots, knots - lead, [first_s]]))
            points = points[(points >= first_s) & (points <= borders[-1])]
            if points.size < 2:
                lost[mine, number] = 0.0
                continue
            value = self._integral(points + lead) - self._integral(points)
            # Between the points the integral bends by at most this much below its chord.
            sag = np.max(np.diff(points)) ** 2 / 8.0 * slope
            low = np.full(borders.size - 1, np.inf)
            cell = np.clip(np.searchsorted(borders, points[:-1], side="right") - 1, 0, None)
            np.minimum.at(low, cell, np.minimum(value[:-1], value[1:]))
            low = np.maximum(0.0, low - sag)
            near = np.minimum(np.concatenate([low[:1], low]), np.concatenate([low, low[-1:]]))
            lost[mine, number] = np.minimum(lost[mine, number], self.eff * near[mine] / HOUR_S)


def change_costs(placer: Placer) -> FloatArray:
    """What each change costs in utility, array (from lane + FIRST, to lane)."""
    lanes = range(len(placer.lanes))
    return np.array(
        [[_change_cost(placer, before, lane) for lane in lanes] for before in [*lanes, FIRST]]
    ).reshape(len(lanes) + 1, len(lanes))


def _change_cost(placer: Placer, before: int, lane: int) -> float:
    problem, costs = placer.problem, placer.problem.change_costs
    new = problem.tasks[placer.lanes[lane].task]
    if before == FIRST:
        if not problem.kept:
            return 0.0
        old = problem.tasks[problem.kept[-1].task]
    else:
        old = problem.tasks[placer.lanes[before].task]
    target = problem.pointings[old.pointing].target
    return (
        costs.filter_change * (old.filter != new.filter)
        + costs.target_change * (target != problem.pointings[new.pointing].target)
        + costs.train_change * (old.train != new.train)
    )


def barred_changes(placer: Placer, borders: FloatArray, flips: bool) -> BoolArray:
    lanes = len(placer.lanes)
    problem = placer.problem
    barred = np.zeros((borders.size, lanes + 1, lanes), dtype=bool)
    pointing, after = np.array(placer.pointing), np.array(placer.after)
    rig = "" if placer.bolted is None else problem.tasks[placer.bolted].train
    train = np.array([*(problem.tasks[lane.task].train for lane in placer.lanes), rig])
    same = pointing[:, None] == pointing[None, :-1]
    barred |= (same & after[:, None] & ~after[None, :-1])[None]
    # A task that goes on across its meridian does so within one arc, but for the rig's own.
    task = np.array([*(lane.task for lane in placer.lanes), -1])
    if flips:
        barred |= ((task[:, None] == task[None, :-1]) & ~after[:, None] & after[None, :-1])[None]
    if problem.overheads.train_change_s is None:
        other = train[:, None] != train[None, :-1]
        other[-1] &= placer.bolted is not None
        barred |= other[None]
    # A pointing reached anew after its transit is on the other side.
    earliest = np.concatenate([borders[:1], borders[:-1]])
    late = earliest[:, None] >= np.array(placer.transit_s)[None, :]
    barred |= late[:, None, :] & ~same[None] & ~after[None, None, :-1]
    return barred
