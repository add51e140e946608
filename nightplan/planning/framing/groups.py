"""Objects that can be framed together: found in the catalogue, not typed."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.model.composite import is_composite
from nightplan.plane.polygons import contains
from nightplan.planning.framing.field_search import Field, scan_angles
from nightplan.planning.framing.framing import Framing, frame_group
from nightplan.planning.framing.outlines import shape_of, shape_of_group
from nightplan.planning.optics.train_optics import ARCMIN_PER_RADIAN, TrainOptics, train_optics
from nightplan.sky.angles import separation_deg
from nightplan.sky.tangent_plane import project

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target

SMALLEST_ARCMIN = 2.0
SMALLEST_FIELD_SHARE = 0.03
FAINTEST_MAG = 12.5
_MOST_NEIGHBOURS = 10
_MOST_IN_TRIPLES = 5
_SAME_PLACE_ARCMIN = 1.0
_ANGLES_DEG = np.arange(0.0, 180.0, 5.0)

NEBULAE = ("emission_nebula", "reflection_nebula", "supernova_remnant", "cluster_with_nebula")


@dataclass(frozen=True)
class Group:
    """Targets that fit one field with the wanted margin, the first the one asked for."""

    targets: tuple[Target, ...]
    framing: Framing


def find_groups(
    config: Config, target: Target, catalog: Catalog, train: str, *, most: int = 3
) -> tuple[Group, ...]:
    """Pairs and triples around a target that one field of a train holds with margin.

    Neighbours count if they have a size of at least `SMALLEST_ARCMIN` and of a small share of
    the field, and are bright enough or nebulae; what lies inside the target's own outline is part
    of it. Groups with more to show come first; a pair that a listed triple holds is left out.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train.
    """
    optics = train_optics(config, train)
    field = Field(optics.half_long_plane, optics.half_short_plane)
    wanted = config.preferences.margin_arcmin / ARCMIN_PER_RADIAN
    if scan_angles(shape_of(target), field, _ANGLES_DEG).margin_rad.max() < wanted:
        return ()
    neighbours = catalog.targets(neighbour_rows(config, target, catalog, optics))

    def fits(*others: Target) -> bool:
        shape = shape_of_group([target, *others])
        return bool(scan_angles(shape, field, _ANGLES_DEG).margin_rad.max() >= wanted)

    singles = [each for each in neighbours if fits(each)]
    triples = [pair for pair in combinations(singles[:_MOST_IN_TRIPLES], 2) if fits(*pair)]
    chosen: list[tuple[Target, ...]] = []
    for others in sorted([*triples, *((each,) for each in singles)], key=_show, reverse=True):
        if not any(set(others) <= set(taken) for taken in chosen):
            chosen.append(others)
    return tuple(
        Group((target, *others), frame_group(config, [target, *others], train))
        for others in chosen[:most]
    )


def conspicuous_rows(target: Target, catalog: Catalog, optics: TrainOptics) -> NDArray[np.intp]:
    """Rows near enough to share a field with a target that are worth naming, the largest first."""
    reach_deg = np.hypot(optics.long_side_arcmin, optics.short_side_arcmin) / 60.0
    near = np.flatnonzero(np.abs(catalog.dec_deg - target.dec_deg) <= reach_deg)
    apart = separation_deg(
        target.ra_deg, target.dec_deg, catalog.ra_deg[near], catalog.dec_deg[near]
    )
    near = near[(apart <= reach_deg) & (catalog.name[near] != target.name)]
    size = catalog.major_arcmin[near]
    smallest = max(SMALLEST_ARCMIN, SMALLEST_FIELD_SHARE * optics.short_side_arcmin)
    with np.errstate(invalid="ignore"):
        large = (size >= smallest) & (size <= optics.long_side_arcmin)
        bright = catalog.magnitude[near] <= FAINTEST_MAG
    nebula = np.isin(catalog.kind[near], NEBULAE) & np.isnan(catalog.magnitude[near])
    composite = is_composite(catalog.outline_source[near])
    near = near[large & (bright | nebula) & ~composite]
    area = catalog.major_arcmin[near] * catalog.minor_or_round_arcmin[near]
    return near[np.argsort(-area, kind="stable")]


def neighbour_rows(
    config: Config, target: Target, catalog: Catalog, optics: TrainOptics
) -> NDArray[np.intp]:
    """Rows worth framing beside a target: what is inside its outline is part of it."""
    near = conspicuous_rows(target, catalog, optics)
    apart = separation_deg(
        target.ra_deg, target.dec_deg, catalog.ra_deg[near], catalog.dec_deg[near]
    )
    near = near[apart > _SAME_PLACE_ARCMIN / 60.0]
    shape = shape_of(target)
    xi, eta = project(catalog.ra_deg[near], catalog.dec_deg[near], target.ra_deg, target.dec_deg)
    inside = np.zeros(len(near), dtype=bool)
    for polygon in shape.polygons:
        inside |= contains(polygon, np.stack((xi, eta), axis=1))
    return near[~inside][:_MOST_NEIGHBOURS]


def _show(others: tuple[Target, ...]) -> float:
    """What neighbours bring: the sum of their mean sizes, arcmin."""
    return sum(float(np.sqrt(np.prod(each.axes_arcmin or (0.0, 0.0)))) for each in others)
