"""A recipe and its goal in words, from a plan document's row."""

from __future__ import annotations

from nightplan.report.documents.plan import RecipeRow
from nightplan.report.wording.sub_words import short_set_words

STAR_COLOUR = "star_colour"


def recipe_words(name: str, row: RecipeRow) -> str:
    """What a target's picture is made of: recipe, ratio, hours, and where they come from."""
    told = f"{name}: {row.name}, {ratio_words(row)}"
    if stars := _stars(row):
        told += f"; {stars}"
    short = short_set_words(row.short_set)
    return " ".join(filter(None, (f"{told}.", goal_words(row), _chosen(row), short)))


def recipe_line(name: str, row: RecipeRow) -> str:
    """The same in one line: recipe, ratio and hours of a panel."""
    return f"{name}: {row.name}, {ratio_words(row)}, {row.goal_h:.2g} h"


def ratio_words(row: RecipeRow) -> str:
    """``"L : R : G : B = 3 : 1 : 1 : 1"``, star colours left out."""
    shares = {
        filter_name: share
        for filter_name, share in row.shares.items()
        if row.purposes[filter_name] != STAR_COLOUR
    }
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
    return f"{', '.join(names)} {minutes:.0f} min each for the stars"


def _chosen(row: RecipeRow) -> str:
    return {
        "kind_wish": "Recipe as configured for its kind.",
        "goal_recipe": "Recipe as configured.",
        "wheel": "The wheel holds no filter that it would want.",
    }.get(row.chosen_by, "")
