"""What a plan is made of, in sentences: recipes, sub lengths, prices, loading, goals, the moon."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from nightplan.number_forms import percent
from nightplan.planning.tonight.night import Night
from nightplan.report.documents.exposure import ShortSetRow, SubBreak
from nightplan.report.documents.plan import PlanDocument, PriceRow, RecipeRow
from nightplan.report.wording.local_time import NightClock
from nightplan.report.wording.words import evening


@dataclass(frozen=True)
class GoalShare:
    """Shares of a target's goal, 0 to 1: before the night, and after it as planned."""

    target: str
    before: float
    after: float

    @property
    def tonight(self) -> float:
        """What the night adds."""
        return self.after - self.before


def goal_shares(plan: PlanDocument) -> list[GoalShare]:
    """Shares of each target that has a goal, in the order of the plan's progress.

    What a filter has beyond its own goal does not stand in for another filter.
    """
    sums: dict[str, list[float]] = {}
    for row in plan.progress:
        goal, before, after = sums.setdefault(row.target, [0.0, 0.0, 0.0])
        done = min(row.gathered_h, row.goal_h)
        then = min(row.gathered_h + row.tonight_h, row.goal_h)
        sums[row.target] = [goal + row.goal_h, before + done, after + then]
    return [
        GoalShare(name, before / goal, after / goal)
        for name, (goal, before, after) in sums.items()
        if goal > 0.0
    ]


def loading_words(rows: Sequence[Mapping[str, Any]]) -> str:
    """The filters to load and what the others would add; empty where all are in the wheel."""
    if not rows:
        return ""
    loaded = " ".join(row["filter"] for row in rows if row["loaded"])
    out = [
        row["filter"] + (f" (would add {row['worth_h']:.1f} h)" if row["worth_h"] >= 0.05 else "")
        for row in rows
        if not row["loaded"]
    ]
    return f"Load before dark {loaded}; leave out {', '.join(out)}"


EDGE_DAY = 1.0 / 1440.0


def moon_words(night: Night) -> str:
    """``moon 45 % lit, up until 23:11``; lit at local midnight, up inside the window."""
    lit = f"moon {percent(night.moon_illuminated_fraction)} lit"
    window = night.window_utc_mjd
    if window is None:
        return lit
    inside = [
        (max(a, window[0]), min(b, window[1]))
        for a, b in night.moon_up_utc_mjd
        if min(b, window[1]) > max(a, window[0])
    ]
    if not inside:
        return f"{lit}, down all the dark time"
    clock = NightClock(night.zone, window)
    spans = []
    for start, end in inside:
        early, late = start <= window[0] + EDGE_DAY, end >= window[1] - EDGE_DAY
        if early and late:
            return f"{lit}, up all the dark time"
        if early:
            spans.append(f"until {clock.clock(end)}")
        elif late:
            spans.append(f"from {clock.clock(start)} on")
        else:
            spans.append(f"from {clock.clock(start)} to {clock.clock(end)}")
    return f"{lit}, up {' and '.join(spans)}"


def price_words(price: PriceRow) -> str:
    """One sentence on some filters of a target."""
    filters = f"{price.target} {' '.join(price.filters)}"
    date = "" if price.date is None else evening(price.date)
    if price.reason == "best_until":
        return f"{filters} tonight: no night before {date} offers them as much."
    if price.reason == "no_better_ahead":
        return f"{filters} tonight: none of the coming 30 nights offers them as much."
    if price.reason == "season_ends":
        return f"{filters} tonight: after {date} {price.target} is out of reach."
    share = 100.0 * (price.share or 0.0)
    return f"{filters} can wait: moonlit nights bring {share:.0f} % of what the best night does."


def left_out_words(plan: PlanDocument) -> list[str]:
    """What has no place tonight: wanted targets first, then filters with the limit that binds."""
    waiting = plan.not_tonight
    night = " and ".join(dict.fromkeys(block.target for block in plan.blocks)) or "no other"
    verb = "waits" if len(waiting) == 1 else "wait"
    first = [f"{', '.join(waiting)} {verb}: the night goes to {night}"] if waiting else []
    return [f"{wish}." for wish in (*first, *plan.left_out)]


STAR_COLOUR = "star_colour"


def recipe_words(name: str, row: RecipeRow) -> str:
    """What a target's picture is made of: recipe, ratio, hours, and where they come from."""
    told = f"{name}: {row.name}, {ratio_words(row)}"
    if stars := _stars(row):
        told += f"; {stars}"
    short = short_set_words(row.short_set)
    return " ".join(filter(None, (f"{told}.", goal_words(row), _chosen(row), short)))


def recipe_line(name: str, row: RecipeRow) -> str:
    """The same in one line: recipe, ratio, hours of a panel and where they come from."""
    origin = {
        "ceiling": f"faint: S/N {row.reached_snr:.0f} of {row.wanted_snr:g}",
        "floor": "bright: the least for its kind",
        "brightness": f"S/N {row.wanted_snr:g}",
        "goal_hours": "by goal_hours",
    }.get(row.goal_from, "its own goal")
    return f"{name}: {row.name}, {ratio_words(row)}, {row.goal_h:.2g} h ({origin})"


def ratio_words(row: RecipeRow) -> str:
    """``"L : R : G : B = 3 : 1 : 1 : 1"``, star colours left out; what the subs of one filter
    bring at once and alike is told by the filter's name."""
    whole: dict[str, set[float]] = {}
    for name, share in row.shares.items():
        if row.purposes[name] != STAR_COLOUR:
            whole.setdefault(row.through[name], set()).add(share)
    shares = {}
    for name, share in row.shares.items():
        if row.purposes[name] != STAR_COLOUR:
            own = row.through[name]
            shares[own if len(whole[own]) == 1 else name] = share
    if len(shares) == 1:
        return f"{next(iter(shares))} alone"
    least = min(shares.values())
    numbers = [f"{round(share / least, 1):g}" for share in shares.values()]
    return f"{' : '.join(shares)} = {' : '.join(numbers)}"


def goal_words(row: RecipeRow) -> str:
    """The goal and its origin, as ``"Faint: 20 h reach S/N 12 of 30 in Ha."``."""
    hours, lead = f"{row.goal_h:.3g} h", row.leading
    wanted, reached = f"{row.wanted_snr:g}", f"{row.reached_snr:.0f}"
    origin = row.goal_from
    if origin == "ceiling":
        return f"Faint: {hours} reach S/N {reached} of {wanted} in {lead}."
    if origin == "floor":
        return f"Bright: {hours}, the least for its kind, reach S/N {reached} in {lead}."
    if origin == "brightness":
        return f"{hours}, for S/N {wanted} in {lead}."
    whose = "its own goal" if origin in {"goal", "target_hours"} else "goal_hours"
    return f"{hours} by {whose}, for S/N {reached} in {lead}."


def _stars(row: RecipeRow) -> str:
    names = [one for one, what in row.purposes.items() if what == STAR_COLOUR]
    if not names:
        return ""
    minutes = 60.0 * row.goal_h * row.shares[names[0]]
    names = list(dict.fromkeys(row.through[name] for name in names))
    return f"{', '.join(names)} {minutes:.0f} min each for the stars"


def _chosen(row: RecipeRow) -> str:
    return {
        "kind_wish": "Recipe as configured for its kind.",
        "goal_recipe": "Recipe as configured.",
        "wheel": "The wheel holds no filter that it would want.",
    }.get(row.chosen_by, "")


_BROKEN = {
    "saturation": "stars that should not saturate do so in {limit:.0f} s",
    "guiding": "guiding holds for {limit:g} s",
    "user_maximum": "longest_s is {limit:g} s",
    "user_minimum": "shortest_s is {limit:g} s",
    "read_noise": "read noise asks for {limit:.0f} s",
}


def broken_words(rows: Sequence[SubBreak]) -> list[str]:
    """One line for each filter whose length, the user's own, breaks a bound."""
    told: dict[tuple[str, str, float], list[str]] = {}
    several = len({row.train for row in rows}) > 1
    for row in rows:
        key = (row.train, row.filter, row.sub_s)
        told.setdefault(key, []).append(_BROKEN[row.bound].format(limit=row.limit_s))
    return [
        f"{name}{f' with the {train}' if several else ''}: {sub_s:g} s as configured, though "
        f"{' and '.join(reasons)}."
        for (train, name, sub_s), reasons in told.items()
    ]


def short_set_words(row: ShortSetRow | None) -> str:
    """A short set in a sentence; empty without one."""
    if row is None:
        return ""
    told = (
        f"For the core, {row.core_fill:.1f} times full well in the normal sub, also "
        f"{row.count} × {row.sub_s:g} s of {' and '.join(row.filters)}, "
        f"{row.gain} gain."
    )
    return told + (" It clips still." if row.clips_still else "")
