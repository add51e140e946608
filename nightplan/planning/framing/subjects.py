"""Objects that one framing holds together are one subject: what a list shows once.

A subject goes by one of its targets, its *face*, under which it is framed and shot. In this order:

1. what the imager asked for (by name, goal or earlier hours), and fields of several targets that
   fit one field of the train, the largest first, face what their framing holds;
2. what contains another faces it: M 31 faces M 32, M 45 faces NGC 1435, and an H II region the
   dark nebula in front of it. A mosaic of more than two panels only faces what is small beside
   one field: NGC 6960 keeps a field of its own where the whole loop would take four;
3. of mere neighbours the one that ranks first faces what its framing holds.

A field of several targets that one field does not hold gives way to its parts, unless asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from nightplan.arrays import Bools
from nightplan.model.composite import is_composite
from nightplan.plane.polygons import contains, ellipse_points
from nightplan.plane.rectangles import to_rectangle_axes
from nightplan.planning.framing.framing import Framing
from nightplan.planning.framing.groups import conspicuous_rows
from nightplan.planning.framing.mosaic_or_field import SINGLE_FIELD_COVERAGE
from nightplan.planning.framing.outlines import ellipse_of, semi_axis_plane, shape_of
from nightplan.planning.optics.train_optics import train_optics
from nightplan.planning.photons.recipes import JOINED, lit_from_behind
from nightplan.sky.angles import separation_deg
from nightplan.sky.tangent_plane import deproject, project

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.target import Target

Rows = NDArray[np.intp]

FEW_PANELS = 2
SMALL_SHARE = 0.25
"""Mean size over the field's short side below which a part of a large mosaic is no picture."""
BACKGROUND = ("star_field", "dark_nebula", "other")
"""Kinds that contain others without being their subject."""
HELD_SHARE = 0.9
"""Share of an outline's points that a framing must hold: the tip of M 110 may lie outside."""
_EDGE_POINTS = 40
_SLACK = 1.0 + 1e-6


@dataclass(frozen=True)
class Subject:
    """What one framing holds, as indices of the targets given; `members` are without the face."""

    face: int
    members: tuple[int, ...]


def merge_subjects(
    config: Config,
    targets: Sequence[Target],
    frame: Callable[[int], Framing],
    asked: Collection[str] = (),
    most: int | None = None,
) -> list[Subject]:
    """Subjects of targets that are given best first, in the order of their faces.

    Parameters
    ----------
    frame : callable
        The framing of a target by its index, in the train that it is shot with; called only where
        another target is near.
    asked : collection of str
        Names that the imager asked for; none of them is a mere member.
    most : int, optional
        How many subjects are wanted; the first are the same whatever it is.
    """
    found = _Faces(config, targets, frame, asked)
    subjects: list[Subject] = []
    for index in range(len(targets)):
        group = found.merged_group(index)
        if found.root(index) == index:
            members = (other for other in group if other != index and found.root(other) == index)
            subjects.append(Subject(index, tuple(members)))
        if len(subjects) == most:
            break
    return subjects


class _Faces:
    """Which target each target goes by; itself to begin with."""

    def __init__(
        self,
        config: Config,
        targets: Sequence[Target],
        frame: Callable[[int], Framing],
        asked: Collection[str],
    ) -> None:
        self.config, self.targets, self.frame = config, targets, frame
        self.face = np.arange(len(targets))
        self.asked = {index for index, one in enumerate(targets) if one.name in asked}
        self.framings: dict[int, Framing] = {}
        self.ra_deg = np.array([one.ra_deg for one in targets], dtype=float)
        self.dec_deg = np.array([one.dec_deg for one in targets], dtype=float)
        sides = [train_optics(config, name) for name in config.train]
        self.reach_deg = max(np.hypot(o.long_side_arcmin, o.short_side_arcmin) for o in sides) / 60
        self.own_deg = np.array([one.major_arcmin or 0.0 for one in targets], dtype=float) / 60.0
        self.composite = is_composite(
            np.array([one.outline_source for one in targets], dtype=object)
        )
        self.group_of = self._groups()
        self.merged: set[int] = set()

    def _groups(self) -> Rows:
        """Number of the group of each target; targets of two groups are never near."""
        places = self.ra_deg[:, None], self.dec_deg[:, None], self.ra_deg, self.dec_deg
        longer_deg = np.maximum(self.own_deg[:, None], self.own_deg)
        near = separation_deg(*places) <= self.reach_deg + longer_deg
        numbers = np.arange(len(self.targets))
        while np.any(
            numbers
            != (least := np.where(near, numbers, numbers.size).min(axis=1, initial=numbers.size))
        ):
            numbers = least
        return numbers

    def merged_group(self, index: int) -> list[int]:
        """The group of a target, best first, each with the target that it goes by."""
        number = int(self.group_of[index])
        group: list[int] = np.flatnonzero(self.group_of == number).tolist()
        if number not in self.merged:
            self.merged.add(number)
            self._merge(group)
        return group

    def _merge(self, group: list[int]) -> None:
        by_area = sorted(group, key=lambda index: -_area(self.targets[index]))
        fields = [i for i in by_area if self.composite[i] and i not in self.asked]
        whole = [i for i in fields if self.near(i).size and _is_whole(self.framing(i))]
        self.take((*(i for i in group if i in self.asked), *whole), self.held)
        for index in fields:
            if index not in whole:
                self.give_way(index)
        self.take((i for i in by_area if self.targets[i].kind not in BACKGROUND), self.contained)
        self.take(group, self.held)

    def framing(self, index: int) -> Framing:
        """Framed once."""
        if index not in self.framings:
            self.framings[index] = self.frame(index)
        return self.framings[index]

    def near(self, index: int) -> Rows:
        """Others that go by themselves, were not asked for, and that a framing could reach."""
        apart = separation_deg(self.ra_deg[index], self.dec_deg[index], self.ra_deg, self.dec_deg)
        rows = np.flatnonzero(
            (apart <= self.reach_deg + self.own_deg[index]) & (self.face == np.arange(apart.size))
        )
        return rows[[row != index and row not in self.asked for row in rows]]

    def take(self, order: Iterable[int], relation: Callable[[int, Rows], Bools]) -> None:
        """Let each target in turn that goes by itself face what it is related to."""
        for index in order:
            if self.face[index] == index and (rows := self.near(index)).size:
                self.face[rows[relation(index, rows)]] = index

    def held(self, index: int, rows: Rows) -> Bools:
        """Whether the framing of a target holds others whole."""
        return held(self.config, self.framing(index), [self.targets[row] for row in rows])

    def contained(self, index: int, rows: Rows) -> Bools:
        """Whether others are parts of a target that its framing holds."""
        parts = _inside(self.targets[index], [self.targets[row] for row in rows])
        parts &= [_area(self.targets[row]) < _area(self.targets[index]) for row in rows]
        if parts.any():
            framing = self.framing(index)
            if len(framing.panels) > FEW_PANELS:
                short_side = train_optics(self.config, framing.train).short_side_arcmin
                most = (SMALL_SHARE * short_side) ** 2
                parts &= [_area(self.targets[row]) < most for row in rows]
            else:
                parts &= self.held(index, rows)
        own = self.targets[index]
        silhouettes = [lit_from_behind(self.targets[row]) in (own.name, *own.identifiers)
                       for row in rows]  # fmt: skip
        return parts | np.array(silhouettes, dtype=bool)

    def give_way(self, index: int) -> None:
        """A field of several targets goes by the best of its parts, if any is there."""
        rows = self.near(index)
        parts = rows[_inside(self.targets[index], [self.targets[row] for row in rows])]
        parts = parts[[self.targets[row].kind not in BACKGROUND for row in parts]]
        if parts.size:
            self.face[index] = parts[0]

    def root(self, index: int) -> int:
        """The target that one goes by in the end."""
        while self.face[index] != index:
            index = int(self.face[index])
        return index


def named_members(
    config: Config,
    catalog: Catalog,
    targets: Sequence[Target],
    subject: Subject,
    framing: Framing,
    faces: Collection[str],
) -> tuple[str, ...]:
    """Names of all that a listed subject's framing holds, what takes no part in the list too.

    A field of several targets is not named beside its parts, nor any of `faces`, which have
    entries of their own.
    """
    face, own = targets[subject.face], [targets[index] for index in subject.members]
    several = is_composite(np.array([one.outline_source for one in own], dtype=object))
    names = [one.name for one, is_field in zip(own, several, strict=True) if not is_field]
    names += face.name.split(JOINED) if JOINED in face.name else []
    names += [one.name for one in subject_members(config, catalog, face, framing)]
    return tuple(name for name in dict.fromkeys(names) if name not in faces)


def subject_members(
    config: Config, catalog: Catalog, target: Target, framing: Framing
) -> tuple[Target, ...]:
    """What is worth naming beside a target in its framing, the largest first.

    Empty where the framing holds nothing else of note. Fields of several targets are left out.
    """
    rows = conspicuous_rows(target, catalog, train_optics(config, framing.train))
    others = catalog.targets(rows)
    inside = held(config, framing, others)
    return tuple(one for one, is_held in zip(others, inside, strict=True) if is_held)


def held(config: Config, framing: Framing, targets: Sequence[Target]) -> Bools:
    """Whether each target lies inside the union of a framing's panels, but for a tip; (target,)."""
    optics = train_optics(config, framing.train)
    half = np.array([optics.half_long_plane, optics.half_short_plane]) * _SLACK
    found = np.zeros(len(targets), dtype=bool)
    for index, target in enumerate(targets):
        major, minor, angle, _ = ellipse_of(target)
        edge = ellipse_points(semi_axis_plane(major), semi_axis_plane(minor), angle, _EDGE_POINTS)
        points = np.concatenate([edge, np.zeros((1, 2))])
        ra_deg, dec_deg = deproject(points[:, 0], points[:, 1], target.ra_deg, target.dec_deg)
        inside = np.zeros(len(points), dtype=bool)
        for panel in framing.panels:
            with np.errstate(all="ignore"):
                xi, eta = project(ra_deg, dec_deg, panel.ra_deg, panel.dec_deg)
            axes = to_rectangle_axes(np.stack((xi, eta), axis=-1), panel.position_angle_deg)
            along, across = (np.abs(np.nan_to_num(side, nan=np.inf)).reshape(-1) for side in axes)
            inside |= (along <= half[0]) & (across <= half[1])
        found[index] = inside[-1] and inside[:-1].mean() >= HELD_SHARE
    return found


def _is_whole(framing: Framing) -> bool:
    return not framing.is_mosaic and framing.coverage >= SINGLE_FIELD_COVERAGE


def _inside(target: Target, others: Sequence[Target]) -> Bools:
    """Whether the centres of others lie inside a target's outline."""
    shape = shape_of(target)
    ra_deg, dec_deg = np.array([(one.ra_deg, one.dec_deg) for one in others]).reshape(-1, 2).T
    with np.errstate(all="ignore"):
        xi, eta = project(ra_deg, dec_deg, shape.ra_deg, shape.dec_deg)
    points = np.nan_to_num(np.stack((xi, eta), axis=1), nan=1e9)
    inside = np.zeros(len(others), dtype=bool)
    for polygon in shape.polygons:
        inside |= contains(polygon, points)
    return inside


def _area(target: Target) -> float:
    """Of the bounding rectangle, square arcminutes."""
    major, minor = target.axes_arcmin or (0.0, 0.0)
    return major * minor
