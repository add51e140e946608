"""The night cut into cells, with what a run from one cell border to another can bring at most.

The bound comes from a path through cell borders. For it to hold for every whole-sub schedule,
whose runs begin and end anywhere, each arc's hours over-estimate every real run that begins (its
slew or filter change included) within a cell of the arc's first border and ends within a cell of
its last. Worth enters by its exact integral; moving a border inside a cell changes the reward by
a function that differs from a linear one by at most cell length / 4 x the spread of worth in
the cell (on either side), so the largest value lies at a cell border up to that amount, which is
added. That is of second order in the cell length: 3-minute cells cost seconds, not minutes.

With d subs to a dither, P = d (sub + download) + dither and eff = d sub / P, a block of n subs
from s to e collects at most  eff (integral of worth over [s, e] + dither worth(e)
+ (download + dither) x total decrease of worth).
The shutter is open early in each cycle, hence the last term; the dither after the last sub is
spared, hence the second.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from nightplan.planning.schedule_problem import HOUR_S, BoolArray, FloatArray
from nightplan.planning.solving.placement import FIRST, Placer

BARRED = -1e9


@dataclass(frozen=True, eq=False)
class Cells:
    """Arrays of the bound's path programme. Border index b runs 0..n; K lanes, one more is FIRST.

    hours : (border, length, lane) most equivalent hours of a run that ends at the border and is
        `length + 1` cells long; `BARRED` where no run can be.
    short : (border, length, lane) bool: only open to the night's first run, which needs no lead.
    lead : (border, from lane + FIRST, to lane) least hours lost to the lead, per unit price.
    cost : (from lane + FIRST, to lane) change cost, utility.
    barred : (border, from, to) bool: the change cannot be.
    """

    borders_s: FloatArray
    hours: FloatArray
    short: BoolArray
    lead: FloatArray
    cost: FloatArray
    barred: BoolArray


def cell_borders(placer: Placer, step_s: float) -> FloatArray:
    """Borders about `step_s` apart, with the edges of the lanes' spans among them, array."""
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
        np.linspace(low, high, max(1, round((high - low) / step_s)) + 1)[:-1]
        for low, high in itertools.pairwise(fixed)
    ]
    return np.concatenate([*pieces, [end]])


def build_cells(placer: Placer, step_s: float) -> Cells:
    """Cut the night and bound every run; see the module's text for why it holds."""
    borders = cell_borders(placer, step_s)
    lanes = len(placer.lanes)
    longest = _most_cells(placer, borders)
    hours = np.full((borders.size, longest, lanes), BARRED)
    short = np.zeros((borders.size, longest, lanes), dtype=bool)
    leads = np.array(placer.lead_s)
    values = np.unique(leads)
    category = np.searchsorted(values, leads)
    lost = np.full((borders.size, values.size, lanes), np.inf)
    most_lead = _most_lead(placer)
    for lane in range(lanes):
        least_lead = min((leads[before, lane] for before in range(lanes)), default=0.0)
        for span in placer.spans[lane]:
            piece = _Span(placer, borders, lane, span, most_lead)
            piece.fill(hours[:, :, lane], short[:, :, lane], float(least_lead))
            piece.fill_lost(lost[:, :, lane], values)
    lost[~np.isfinite(lost)] = 0.0
    lead = lost[:, category, np.arange(lanes)[None, :]]
    cost = change_costs(placer)
    return Cells(borders, hours, short, lead, cost, _barred(placer, borders))


def _most_lead(placer: Placer) -> float:
    """The longest lead, with the focus run that the clock may add to one that has none."""
    pairs = zip(placer.lead_s, placer.lead_focus, strict=True)
    return max(
        (
            lead + (0.0 if focus else placer.focus_s)
            for leads, focused in pairs
            for lead, focus in zip(leads, focused, strict=True)
        ),
        default=0.0,
    )


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
        most_lead: float,
    ) -> None:
        self.placer, self.borders, self.lane = placer, borders, lane
        self.low, self.high = span
        self.task = placer.lanes[lane].task
        self.most_lead = most_lead
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

    def fill(self, hours: FloatArray, short: BoolArray, least_lead: float) -> None:
        """Arcs (border, length) of this span; views of the lane's arrays."""
        placer, borders, lane = self.placer, self.borders, self.lane
        n = borders.size
        rules = placer.problem.overheads
        first = int(np.searchsorted(borders, self.low - self.most_lead, side="left"))
        first = max(0, first - 1)
        last = int(np.searchsorted(borders, self.high - 1e-9, side="left"))
        sub, cycle, d = placer.sub_s[lane], placer.cycle_s[lane], placer.dither_every
        eff = d * sub / (d * cycle + rules.dither_s)
        before = np.concatenate([borders[:1], borders[:-1]])
        after = np.concatenate([borders[1:], borders[-1:]])
        widths = np.diff(borders)
        loose = 0.25 * widths * self.spread
        loose = np.maximum(np.concatenate([[0.0], loose]), np.concatenate([loose, [0.0]]))
        top = np.maximum(np.concatenate([[0.0], self.top]), np.concatenate([self.top, [0.0]]))
        fall = np.concatenate([[0.0], np.cumsum(self.fall)])
        starts = np.arange(first, last)
        for a in starts:
            b = np.arange(a + 1, min(last, a + hours.shape[1]) + 1)
            if b.size == 0:
                continue
            low_cell, high_cell = max(0, a - 1), np.minimum(b, n - 2)
            drop = fall[high_cell + 1] - fall[low_cell]
            # Time that the subs can have at most and must have at least.
            most = np.minimum(after[b], self.high) - max(before[a], self.low)
            bare = np.minimum(before[b], self.high) - max(after[a] + self.most_lead, self.low)
            focused = max(rules.focus_every_s + rules.download_s, cycle)
            pauses = np.ceil((bare + rules.focus_s) / (focused + rules.focus_s) - 1e-9) - 1.0
            pauses = np.maximum(0.0, pauses)
            lowest = np.minimum.accumulate(self.least[low_cell:])[high_cell - low_cell]
            highest = np.maximum.accumulate(self.top[low_cell:])[high_cell - low_cell]
            pause = rules.focus_s * np.where(np.isfinite(lowest), lowest, 0.0)
            pause -= rules.dither_s * highest
            body = self.sum_s[b] - self.sum_s[a] + loose[a] + loose[b]
            value = np.where(
                pause >= 0.0,
                eff
                * (
                    body
                    + rules.dither_s * top[b]
                    + (rules.download_s + rules.dither_s) * drop
                    - pauses * pause
                ),
                (sub / cycle) * (body + rules.download_s * drop),
            )
            lead = max(0.0, min(least_lead, least_lead - max(0.0, self.low - before[a])))
            spare = 1e-6
            fits = (most - lead >= max(placer.shortest_s, cycle) - spare) & (
                bare <= placer.longest_s + spare
            )
            credit = placer.credit_s if lane == placer.resumed else 0.0
            fits_first = (most >= max(placer.shortest_s - credit, cycle) - spare) & ~fits
            fits_first &= bare <= placer.longest_s + spare
            length = b - a - 1
            value = np.maximum(value, 0.0) / HOUR_S
            keep = fits | fits_first
            hours[b[keep], length[keep]] = np.maximum(hours[b[keep], length[keep]], value[keep])
            short[b[fits_first], length[fits_first]] = True

    def fill_lost(self, lost: FloatArray, leads_s: FloatArray) -> None:
        """Least worth lost to each lead (border, lead) from within a cell of each border."""
        placer, borders = self.placer, self.borders
        rules = placer.problem.overheads
        sub, cycle, d = placer.sub_s[self.lane], placer.cycle_s[self.lane], placer.dither_every
        eff = d * sub / (d * cycle + rules.dither_s)
        knots = np.concatenate([self.grid, [self.low, self.high]])
        slope = 0.0
        inside = (self.grid >= self.low - 1e-9) & (self.grid <= self.high + 1e-9)
        if inside.sum() > 1:
            slopes = np.diff(self.worth[inside]) / np.diff(self.grid[inside])
            slope = float(max(0.0, np.max(slopes)) - min(0.0, np.min(slopes)))
        first = int(np.searchsorted(borders, self.low - self.most_lead, side="left"))
        last = int(np.searchsorted(borders, self.high, side="left"))
        mine = slice(max(0, first - 1), last + 1)
        for number, lead in enumerate(leads_s):
            if lead <= 0.0:
                lost[mine, number] = 0.0
                continue
            points = np.unique(np.concatenate([borders, knots, knots - lead]))
            points = points[(points >= borders[0]) & (points <= borders[-1])]
            value = self._integral(points + lead) - self._integral(points)
            # Between the points the integral bends by at most this much below its chord.
            sag = np.max(np.diff(points)) ** 2 / 8.0 * slope
            low = np.full(borders.size - 1, np.inf)
            cell = np.clip(np.searchsorted(borders, points[:-1], side="right") - 1, 0, None)
            np.minimum.at(low, cell, np.minimum(value[:-1], value[1:]))
            low = np.maximum(0.0, low - sag)
            near = np.minimum(np.concatenate([low[:1], low]), np.concatenate([low, low[-1:]]))
            lost[mine, number] = np.minimum(lost[mine, number], eff * near[mine] / HOUR_S)


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


def _barred(placer: Placer, borders: FloatArray) -> BoolArray:
    lanes = len(placer.lanes)
    problem = placer.problem
    barred = np.zeros((borders.size, lanes + 1, lanes), dtype=bool)
    pointing, after = np.array(placer.pointing), np.array(placer.after)
    rig = "" if placer.rig is None else problem.tasks[placer.rig.task].train
    train = np.array([*(problem.tasks[lane.task].train for lane in placer.lanes), rig])
    same = pointing[:, None] == pointing[None, :-1]
    barred |= (same & after[:, None] & ~after[None, :-1])[None]
    if problem.overheads.train_change_s is None:
        other = train[:, None] != train[None, :-1]
        other[-1] &= placer.rig is not None
        barred |= other[None]
    # A pointing reached anew after its transit is on the other side.
    earliest = np.concatenate([borders[:1], borders[:-1]])
    late = earliest[:, None] >= np.array(placer.transit_s)[None, :]
    barred |= late[:, None, :] & ~same[None] & ~after[None, None, :-1]
    return barred
