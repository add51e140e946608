"""Which filters make a target's picture, how they share its hours, and what each is for.

A recipe follows from the target's kind, the lines that it shines in, how bright O III is beside
H-alpha, and the wheel. The configuration overrides it for a target (`[goal.NAME]`) or a kind
(`[recipe.KIND]`). Ratios and thresholds are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from nightplan.errors import TargetError
from nightplan.light.doppler import doppler_factor
from nightplan.light.line_brightness import CLASSES, LINE_NAMES, nebula_lines, published_lines
from nightplan.model.catalog import LIST_SEPARATOR
from nightplan.model.channels import Channel
from nightplan.model.filter_roles import ROLES, Purpose, Role, broad_roles, narrow_roles
from nightplan.model.filters import Filter
from nightplan.model.wishes import RecipeName, by_channel, goal_for

if TYPE_CHECKING:
    from collections.abc import Mapping

    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.preferences import Goal
    from nightplan.model.target import Target

RecipeReason = Literal["target", "kind_wish", "goal", "goal_recipe", "wheel"]
Weights = dict[Role, float]

NAMED: dict[RecipeName, Weights] = {
    "LRGB": {"luminance": 3, "red": 1, "green": 1, "blue": 1},
    "LRGB with H-alpha": {"luminance": 3, "red": 1, "green": 1, "blue": 1, "H-alpha": 1},
    "H-alpha with LRGB": {"H-alpha": 3, "luminance": 2, "red": 1, "green": 1, "blue": 1},
    "H-alpha with RGB": {"H-alpha": 3, "red": 1, "green": 1, "blue": 1},
    "H-alpha and O III": {"H-alpha": 1, "O III": 1},
    "O III and H-alpha": {"O III": 3, "H-alpha": 2},
    "H-alpha, O III and S II": {"H-alpha": 2, "O III": 3, "S II": 3},
    "RGB stars only": {"red": 1, "green": 1, "blue": 1},
}
"""Time ratios by role; the first leads: it carries the picture, and its hours set the goal. Of the
lines H-alpha is the brightest nearly everywhere and needs least."""

DUST: Weights = {"luminance": 2, "red": 1, "green": 1, "blue": 1}
"""LRGB of dust, whose faint colour is the picture."""
STARS: Weights = {"luminance": 1, "red": 1, "green": 1, "blue": 1}
"""LRGB of stars, which L only burns out."""
O_III_SHELL: Weights = {"O III": 4, "H-alpha": 1}
"""Where H-alpha only shows what lies around."""

STARLIGHT: dict[str, Weights] = {
    "open_cluster": NAMED["RGB stars only"],
    "globular_cluster": STARS,
    "star_field": STARS,
    "reflection_nebula": DUST,
    "dark_nebula": DUST,
    "cluster_with_nebula": DUST,
}
"""By kind, of what shines in no line; LRGB for the rest."""
WITH_H_ALPHA: dict[str, RecipeName] = {
    "galaxy": "LRGB with H-alpha",
    "galaxy_group": "LRGB with H-alpha",
    "reflection_nebula": "LRGB with H-alpha",
    "dark_nebula": "H-alpha with LRGB",
}
"""Kinds that take H-alpha beside their continuum where they show it."""

O_III_LEADS = 1.2
"""O III over H-alpha in photons from which it carries the picture."""
BRIGHT_H_ALPHA_RAYLEIGH = 1500.0
"""Mean brightness from which a nebula shows its own colours through R, G and B."""
SMALLEST_H_II_GALAXY_ARCMIN = 8.0
"""Below this the H II regions of a spiral are too small for a short refractor."""
WITHOUT_H_II = frozenset({
    "M 32", "M 49", "M 86", "M 110", "NGC 147", "NGC 185", "NGC 1291", "NGC 1316", "NGC 1399",
    "NGC 2768", "NGC 4762", "NGC 5084", "NGC 5102",
    "Carina Dwarf", "Draco Dwarf", "ESO 351-30", "ESO 356-4", "Leo II", "PGC 88608", "UGC 5470",
    "Ursa Minor Dwarf",
})  # fmt: skip
"""Galaxies of at least that size that form no stars: types E to S0-a (OpenNGC's Hubble types,
read; NGC 5128 forms stars for all that), and dwarf spheroidals (from memory)."""

JOINED = " + "
"""Between the names of a field of several targets."""

FAST_KM_S = 100.0
"""Slower than this a line stays inside any narrow filter in use (0.2 nm at H-alpha)."""

BEHIND = {
    "B 33": "IC 434", "LDN 935": "NGC 7000", "B 88": "NGC 6523", "B 89": "NGC 6523",
    "B 296": "NGC 6523", "B 161": "IC 1396", "B 163": "IC 1396",
}  # fmt: skip
"""Dark nebulae seen against the H-alpha of an H II region, and which. From memory."""
EMISSION_AND_REFLECTION = frozenset({"M 20"})
"""What has O III but shines by reflection as much: its dust needs R, G and B. From memory."""

STAR_COLOURS: tuple[Role, ...] = ("red", "green", "blue")
LINES_BY_KIND: dict[str, tuple[str, ...]] = {
    "planetary_nebula": ("O III", "H-alpha"),
    "supernova_remnant": ("H-alpha", "O III", "S II"),
    "emission_nebula": ("H-alpha",),
}
"""What a kind is taken to shine in where the target's lines are not known."""

_LETTERS = {name: role.label for name, role in ROLES.items() if not role.is_narrow}
_H_ALPHA, _O_III = LINE_NAMES.index("H-alpha"), LINE_NAMES.index("O III")


@dataclass(frozen=True)
class RecipePart:
    """One filter of a recipe.

    `share` is its part, 0 to 1, of the hours that make the picture; a part that takes a fixed
    time instead (star colours, or hours of a goal) has the share 0 and `fixed_h`.
    """

    filter: str
    share: float
    purpose: Purpose
    fixed_h: float = 0.0


@dataclass(frozen=True)
class Recipe:
    """What makes a target's picture; parts in the wheel's order, `leading` the filter that
    carries it."""

    name: str
    parts: tuple[RecipePart, ...]
    leading: str
    reason: RecipeReason


def line_is_inside(filter_: Filter | Channel, radial_velocity_km_s: float) -> bool:
    """Whether the filter's line, moved by a radial velocity, stays in the half-maximum band."""
    line_nm = filter_.line_nm
    if line_nm is None:
        return True
    moved_nm = line_nm * float(doppler_factor(radial_velocity_km_s))
    return abs(moved_nm - filter_.centre_nm) <= filter_.width_nm / 2.0


def recipe_of(config: Config, target: Target) -> Recipe:
    """The recipe of a target with this wheel.

    A goal's hours stand before its shares, its shares before its recipe, a target's wish before
    its kind's. Galaxies get H-alpha where it is worth it and their velocity leaves the line in the
    passband. Where the wheel lacks every filter of the recipe the target gets L, R, G and B, and
    failing those all that the wheel holds.
    """
    goal = goal_for(config, target)
    if goal is not None and (goal.hours or goal.snr):
        return _of_goal(config, goal)
    for wish, reason in ((goal, "goal_recipe"), (config.recipe.get(target.kind), "kind_wish")):
        if wish is not None and wish.shares:
            weights = by_channel(config, wish.shares)
            lead = max(weights, key=lambda name: weights[name])
            return _recipe(config, _composed(config, weights), weights, lead, reason)  # type: ignore[arg-type]
        if wish is not None and wish.recipe is not None:
            return _with_wheel(config, target, NAMED[wish.recipe], reason)  # type: ignore[arg-type]
    return _with_wheel(config, target, weights_of(target), "target")


def weights_of(target: Target) -> Weights:
    """Time ratios by role that suit a target, whatever the wheel holds."""
    kind, members = target.kind, target.name.split(JOINED)
    names = (target.name, *target.identifiers, *members)
    lines = target.lines or LINES_BY_KIND.get(kind, ())
    starlight = STARLIGHT.get(kind, NAMED["LRGB"])
    if kind in WITH_H_ALPHA:
        large = kind == "galaxy" and (target.major_arcmin or 0.0) >= SMALLEST_H_II_GALAXY_ARCMIN
        spiral = large and WITHOUT_H_II.isdisjoint(names)
        shows_it = "H-alpha" in lines or spiral or lit_from_behind(target) is not None
        return NAMED[WITH_H_ALPHA[kind]] if shows_it else starlight
    if "H-alpha" not in lines and "O III" not in lines:
        return starlight
    if kind == "other" and members[1:]:
        # A nebula beside a galaxy or cluster: the picture of each.
        return {**NAMED["LRGB"], **{role: 1.0 for role in narrow_roles() if role in lines}}
    return _nebula(kind, names, lines, not EMISSION_AND_REFLECTION.isdisjoint(names))


def lit_from_behind(target: Target) -> str | None:
    """The H II region against which a dark nebula is seen, by name."""
    if target.kind != "dark_nebula":
        return None
    return next((BEHIND[one] for one in (target.name, *target.identifiers) if one in BEHIND), None)


@lru_cache(maxsize=4096)
def _nebula(kind: str, names: tuple[str, ...], lines: tuple[str, ...], mixed: bool) -> Weights:
    """Of what shines in lines."""
    found = nebula_lines(kind if kind in CLASSES else "emission_nebula", names, lines)
    assert found is not None
    rayleigh = found[0]
    h_alpha, ratio = float(rayleigh[_H_ALPHA]), float(rayleigh[_O_III] / rayleigh[_H_ALPHA])
    if "O III" not in lines or mixed or (
        h_alpha >= BRIGHT_H_ALPHA_RAYLEIGH and kind != "planetary_nebula"
    ):  # fmt: skip
        return NAMED["H-alpha with RGB"]
    if "H-alpha" not in lines:
        return O_III_SHELL
    if ratio >= O_III_LEADS:
        return NAMED["O III and H-alpha"]
    # A remnant's S II lies in the same filaments as its H-alpha, and shows nothing new.
    if kind == "supernova_remnant" or "S II" not in lines:
        return NAMED["H-alpha and O III"]
    return NAMED["H-alpha, O III and S II"]


def leading_filters(config: Config, catalog: Catalog, rows: NDArray[np.intp]) -> NDArray[Any]:
    """Names of the leading filters of some rows of a catalogue, as `recipe_of` has them; (row,).

    Kind and lines decide; only what goes by its own name, goal or velocity is looked at singly.
    """
    own_names = {*published_lines(), *BEHIND, *EMISSION_AND_REFLECTION, *WITHOUT_H_II}
    goals = {row for name in config.goal if (row := _row(catalog, name)) is not None}
    fast = np.abs(np.nan_to_num(catalog.radial_velocity_km_s[rows])) > FAST_KM_S
    leads = np.empty(rows.size, dtype=object)
    table: dict[tuple[str, str], str] = {}
    for index, row in enumerate(rows):
        key = (str(catalog.kind[row]), str(catalog.lines[row]))
        names = (catalog.name[row], *catalog.identifiers[row].split(LIST_SEPARATOR))
        alone = row in goals or JOINED in names[0] or not own_names.isdisjoint(names)
        # A velocity moves lines out of their filters; broad ones do not mind.
        alone = alone or (fast[index] and key in table and config.channel[table[key]].is_narrow)
        if alone or key not in table:
            lead = recipe_of(config, catalog.target(int(row))).leading
            if not alone:
                table[key] = lead
            leads[index] = lead
            continue
        leads[index] = table[key]
    return leads


def _row(catalog: Catalog, name: str) -> int | None:
    try:
        return catalog.find(name)
    except TargetError:
        return None


def _of_goal(config: Config, goal: Goal) -> Recipe:
    # Hours for a wanted signal to noise follow from the photon budget; 1 h holds the place.
    hours = {**dict.fromkeys(goal.snr, 1.0), **goal.hours}
    parts = tuple(
        RecipePart(name, 0.0, "goal", hours[name]) for name in config.channel if name in hours
    )
    weights = {part.filter: part.fixed_h for part in parts}
    leading = max(parts, key=lambda part: part.fixed_h).filter
    return Recipe(_composed(config, weights), parts, leading, "goal")


def _with_wheel(config: Config, target: Target, weights: Weights, reason: RecipeReason) -> Recipe:
    held = _held(config, target, weights)
    if not held:
        reason, weights = "wheel", NAMED["LRGB"]
        held = _held(config, target, weights) or dict.fromkeys(config.channel, 1.0)
    roles = {config.channel[name].role for name in held}
    named = [name for name, own in NAMED.items() if own.keys() == weights.keys() == roles]
    named = [name for name in named if next(iter(NAMED[name])) == next(iter(weights))]
    name = named[0] if named else _composed(config, held)
    stars_h = config.preferences.star_colour_min / 60.0
    in_lines = any(ROLES[role].is_narrow for role in roles) and not roles & set(_LETTERS)
    stars = _held(config, target, dict.fromkeys(STAR_COLOURS, stars_h)) if in_lines else {}
    stars = {name: min(stars_h, own_h) for name, own_h in stars.items()}
    order = [*weights, *narrow_roles()]
    lead = min(held, key=lambda one: order.index(config.channel[one].role))
    return _recipe(config, name, held, lead, reason, stars)


def _held(config: Config, target: Target, weights: Weights) -> dict[str, float]:
    """Weights by the filters of the wheel; filters of one role share theirs."""
    found: dict[str, float] = {}
    velocity = target.radial_velocity_km_s
    for role, weight in weights.items():
        names = [name for name, item in config.channel.items() if item.role == role]
        for name in names:
            filter_ = config.channel[name]
            unknown = filter_.is_narrow and target.kind == "galaxy" and velocity is None
            moved_out = velocity is not None and not line_is_inside(filter_, velocity)
            if weight > 0.0 and not unknown and not moved_out:
                found[name] = weight / len(names)
    broad = sum(weights.get(role, 0.0) for role in broad_roles())
    return {
        # Colours that come at once take the time of all of them, and of the luminance.
        name: broad if len(luminance_channels(config, name)) > 1 else found[name]
        for name in config.channel
        if name in found
    }


def luminance_channels(config: Config, leading: str) -> tuple[str, ...]:
    """Channels whose sum carries the picture where `leading` leads: the colours that come at once
    from one filter make its brightness together."""
    own = config.channel[leading]
    if own.is_narrow:
        return (leading,)
    return tuple(name for name, one in config.channel.items() if one.filter == own.filter)


def _recipe(
    config: Config,
    name: str,
    weights: dict[str, float],
    leading: str,
    reason: RecipeReason,
    stars: Mapping[str, float] | None = None,
) -> Recipe:
    total, stars = sum(weights.values()), stars or {}
    parts = []
    broad = any(config.channel[one].role == "luminance" for one in weights)
    for one in config.channel:
        purpose = ROLES[config.channel[one].role].purpose
        if one in weights:
            if purpose == "hydrogen" and broad and name == "LRGB with H-alpha":
                purpose = "h_ii_regions"
            parts.append(RecipePart(one, weights[one] / total, purpose))
        elif one in stars:
            parts.append(RecipePart(one, 0.0, "star_colour", stars[one]))
    return Recipe(name, tuple(parts), leading, reason)


def _composed(config: Config, weights: Mapping[str, float]) -> str:
    """A name from filters by weight: ``"LRGB with H-alpha"``, ``"O III"``."""
    by_weight: dict[Role, float] = {}
    for name, weight in weights.items():
        role = config.channel[name].role
        by_weight[role] = by_weight.get(role, 0.0) + weight
    letters = "".join(letter for role, letter in _LETTERS.items() if role in by_weight)
    lines = sorted((r for r in by_weight if r not in _LETTERS), key=lambda r: -by_weight[r])
    told = " and ".join(filter(None, (", ".join(lines[:-1]), *lines[-1:])))
    if not letters or not told:
        return letters or told
    first = max(by_weight, key=lambda role: by_weight[role])
    return f"{letters} with {told}" if first in _LETTERS else f"{told} with {letters}"


assert set(get_args(RecipeName)) == set(NAMED)
