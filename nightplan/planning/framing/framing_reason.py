"""A framing in one sentence for a person."""

from __future__ import annotations

from nightplan.number_forms import percent
from nightplan.planning.framing.angle_choice import AngleChoice
from nightplan.planning.framing.field_search import Placement
from nightplan.planning.framing.outlines import Shape
from nightplan.planning.framing.panel_grid import Grid
from nightplan.planning.optics.train_optics import ARCMIN_PER_RADIAN


def fit_of_field(
    name: str, placed: Placement, wanted_arcmin: float, has_margin: bool, needed: int
) -> str:
    """What one field holds; `needed` panels would hold all of a target that is cut, or 1."""
    margin = placed.margin_rad * ARCMIN_PER_RADIAN
    if has_margin:
        return f"One field holds {name} with {margin:.1f}′ to spare"
    if placed.margin_rad >= 0.0:
        return (
            f"One field just holds {name}: {margin:.1f}′ to spare where {wanted_arcmin:g}′ "
            "are wanted"
        )
    fit = f"One field covers {percent(placed.coverage)} of {name}"
    if needed > 1:
        fit += f" (all of it would take {needed} panels, and their hours)"
    return fit


def fit_of_mosaic(name: str, grid: Grid, needed: int) -> str:
    """What a mosaic holds, and how many panels would hold all."""
    margin = grid.margin_rad * ARCMIN_PER_RADIAN
    size = f"{grid.columns} × {grid.rows} panels"
    if grid.count != grid.columns * grid.rows:
        size = f"{grid.count} panels of a {grid.columns} × {grid.rows} grid"
    if margin >= 0.0:
        return f"{name} takes {size} ({percent(grid.overlap)} overlap, {margin:.1f}′ to spare)"
    return f"{size} cover {percent(grid.coverage)} of {name} (all of it would take {needed} panels)"


_CHOICES = {
    "asked": "the angle you asked for",
    "used": "the angle used before for it",
    "flats": "an angle whose flats are still good",
    "round": "a round angle, as good as any other here",
    "middle": "the middle of the angles that serve",
    "roomiest": "of the angles that serve the one with most room",
    "widest": "the angle that holds most of it",
}


def reason_of(
    fit: str, shape: Shape, choice: AngleChoice, tolerance: float, keeps_margin: bool
) -> str:
    """What the framing holds, at which angle and why, and how far the camera may be off."""
    text = f"{fit} at {choice.angle_deg:g}°, {_CHOICES[choice.why]}"
    cost = "keeps that room" if keeps_margin else "costs at most 2 % of it"
    if tolerance >= 90.0:
        text += f"; any other angle {cost}"
    else:
        text += f"; up to {tolerance:.1f}° off {cost}"
    if shape.pinned:
        away = shape.offset_arcmin(shape.ra_deg, shape.dec_deg)
        text += f"; the centre is the one you chose, {away:.1f}′ from its middle"
    if shape.assumption:
        text += f"; {shape.assumption}"
    return text + "."
