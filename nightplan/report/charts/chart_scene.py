"""What a framing chart shows, worked out before anything is drawn: places on the sky."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.arrays import Floats
from nightplan.model.star_catalog import StarCatalog, Stars, star_catalog
from nightplan.model.target import Target
from nightplan.plane.polygons import area, subtract_convex
from nightplan.planning.framing.guide_star import GuideOutlook, guide_outlook
from nightplan.planning.framing.outlines import shape_of
from nightplan.planning.optics.train_optics import TrainOptics, train_optics
from nightplan.report.charts.chart_plane import ChartPlane, chart_plane
from nightplan.sky.angles import separation_deg
from nightplan.sky.tangent_plane import deproject, field_corners

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.planning.framing.framing import Framing, Panel


GHOST_LEAST_DEG, GHOST_MOST_DEG = 1.0, 89.0
"""Tolerances outside these have no ghost: it would lie on the frame, or show nothing."""

CUT = 0.05
"""A neighbour with more than this share both inside and outside what is framed is cut."""

_SIDE_POINTS = 16


@dataclass(frozen=True)
class Frame:
    """One train's field or panels: corners on the sky, each (4, 2), and its optics."""

    framing: Framing
    optics: TrainOptics
    corners: tuple[Floats, ...]


@dataclass(frozen=True)
class Neighbour:
    """Another target in sight: its name, place, size, and outlines (n, 2) on the sky.

    `cut` says that the edge of what is framed runs through it: a part of it will be in the picture.
    """

    name: str
    ra_deg: float
    dec_deg: float
    size_deg: float
    outlines: tuple[Floats, ...]
    cut: bool = False
    kind: str = "other"


@dataclass(frozen=True)
class Scene:
    """Everything on one chart; all places ICRS, degrees.

    `stars` are the brightest in sight; `stars_to_mag` is the Gaia G to which they are complete.
    """

    plane: ChartPlane
    target: Target
    outlines: tuple[Floats, ...]
    chosen: Frame
    others: tuple[Frame, ...]
    ghosts: tuple[Floats, ...]
    guide: GuideOutlook | None
    stars: Stars
    stars_to_mag: float
    neighbours: tuple[Neighbour, ...]


def chart_scene(
    config: Config,
    target: Target,
    framing: Framing,
    all_framings: Sequence[Framing] = (),
    *,
    catalog: Catalog | None = None,
    stars: StarCatalog | None = None,
    guide: GuideOutlook | None = None,
    most_stars: int = 450,
) -> Scene:
    """Gather a chart; parameters as of `nightplan.report.charts.framing_chart.save_framing_chart`.

    Raises FileError, InputError (a catalogue or the user's star file cannot be used).
    """
    if stars is None:
        stars = star_catalog(config)
    if guide is None and config.guider is not None:
        guide = guide_outlook(config, framing, target=target, stars=stars)
    chosen = _frame(config, framing)
    others = tuple(_frame(config, each) for each in all_framings if each.train != framing.train)
    ghosts = _ghosts(chosen)
    outlines = _outlines(target)
    patches = [] if guide is None else [
        np.array(side.corners) for side in (guide.before_meridian, guide.after_meridian)
    ]  # fmt: skip
    frames = [corners for frame in (chosen, *others) for corners in frame.corners]
    plane = chart_plane(
        framing.ra_deg, framing.dec_deg, [*frames, *patches, *ghosts], list(outlines)
    )
    near = stars.cone(plane.ra_deg, plane.dec_deg, plane.radius_deg)
    crowded = len(near) > most_stars
    return Scene(
        plane=plane,
        target=target,
        outlines=outlines,
        chosen=chosen,
        others=others,
        ghosts=ghosts,
        guide=guide,
        stars=near.keep(np.arange(min(len(near), most_stars))),
        stars_to_mag=float(near.g_mag[most_stars - 1]) if crowded else stars.bundled.limit_mag,
        neighbours=_neighbours(catalog, target, plane, chosen),
    )


def _frame(config: Config, framing: Framing) -> Frame:
    optics = train_optics(config, framing.train)
    corners = tuple(_corners(panel, optics) for panel in framing.panels)
    return Frame(framing, optics, corners)


def _corners(panel: Panel, optics: TrainOptics, turn_deg: float = 0.0) -> Floats:
    return np.column_stack(
        field_corners(
            panel.ra_deg,
            panel.dec_deg,
            panel.image_up_angle_deg + turn_deg,
            optics.field_width_deg,
            optics.field_height_deg,
            optics.mirrored,
        )
    )


def _ghosts(frame: Frame) -> tuple[Floats, ...]:
    tolerance = frame.framing.position_angle_tolerance_deg
    if not GHOST_LEAST_DEG <= tolerance <= GHOST_MOST_DEG:
        return ()
    # Of a mosaic the first panel stands for all: more would hide the panels themselves.
    return tuple(
        _corners(frame.framing.panels[0], frame.optics, turn) for turn in (-tolerance, tolerance)
    )


def _outlines(target: Target) -> tuple[Floats, ...]:
    shape = shape_of(target)
    return tuple(
        np.column_stack(deproject(polygon[:, 0], polygon[:, 1], shape.ra_deg, shape.dec_deg))
        for polygon in shape.polygons
    )


def _neighbours(
    catalog: Catalog | None, target: Target, plane: ChartPlane, chosen: Frame
) -> tuple[Neighbour, ...]:
    """Other targets inside the chart, the most conspicuous first."""
    if catalog is None:
        return ()
    dec_near = np.abs(catalog.dec_deg - plane.dec_deg) <= plane.radius_deg
    rows = np.flatnonzero(dec_near)
    place = plane.xy(catalog.ra_deg[rows], catalog.dec_deg[rows])
    close = separation_deg(plane.ra_deg, plane.dec_deg, catalog.ra_deg[rows], catalog.dec_deg[rows])
    seen = (close <= plane.radius_deg) & np.all(np.abs(place) <= 0.97 * plane.half_deg, axis=1)
    rows = rows[seen]
    own = {target.name, *target.identifiers}
    away_deg = separation_deg(
        target.ra_deg, target.dec_deg, catalog.ra_deg[rows], catalog.dec_deg[rows]
    )
    size_deg = np.nan_to_num(catalog.major_arcmin[rows]) / 60.0
    magnitude = catalog.magnitude[rows]
    own_size_deg = (target.major_arcmin or 0.0) / 60.0
    keep = []
    for i, row in enumerate(rows):
        same = catalog.name[row] in own or own & set(str(catalog.identifiers[row]).split(";"))
        # A part of the same thing under another name, or the whole that the target is part of.
        twin = away_deg[i] < 0.02 * plane.half_deg and size_deg[i] > 0.8 * own_size_deg
        around_all = size_deg[i] > 4.0 * plane.half_deg or (
            f"{target.name} +" in catalog.name[row] or f"+ {target.name}" in catalog.name[row]
        )
        slight = size_deg[i] < max(0.02 * plane.half_deg, 1.0 / 60.0) and not (
            magnitude[i] <= 13.0 or catalog.common_names[row]
        )
        if not (same or twin or around_all or slight):
            keep.append(i)
    index = np.array(keep, dtype=int)
    faint = np.where(np.isnan(magnitude[index]), 12.0, magnitude[index])
    share = np.maximum(size_deg[index] / plane.half_deg, 1e-3)
    named = np.array([catalog.common_names[r] != "" for r in rows[index]], dtype=float)
    weight = 2.5 * np.log10(share) - 0.35 * faint + named
    order = index[np.argsort(-weight, kind="stable")][:24]
    fields = [plane.xy(*corners.T) for corners in chosen.corners]
    found = []
    for i in order:
        member = catalog.target(int(rows[i]))
        outlines = _outlines(member) if size_deg[i] > 0.03 * plane.half_deg else ()
        cut = any(CUT < _share_inside(plane, each, fields) < 1.0 - CUT for each in outlines)
        found.append(
            Neighbour(
                member.name,
                member.ra_deg,
                member.dec_deg,
                float(size_deg[i]),
                outlines,
                cut,
                member.kind,
            )
        )
    return tuple(found)


def _share_inside(plane: ChartPlane, outline: Floats, fields: list[Floats]) -> float:
    """Share of an outline's area inside the union of fields, all on the chart."""
    whole = plane.xy(*outline.T)
    outside = [whole]
    for field in fields:
        outside = subtract_convex(outside, field)
    return 1.0 - sum(area(piece) for piece in outside) / area(whole)


def side_points(corners: Floats) -> Floats:
    """Points along the sides of a polygon given by its corners (n, 2)."""
    after = np.roll(corners, -1, axis=0)
    share = np.linspace(0.0, 1.0, _SIDE_POINTS, endpoint=False)[:, None, None]
    return (corners + share * (after - corners)).reshape(-1, 2)
