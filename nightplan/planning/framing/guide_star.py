"""Will the off-axis guider see a star? Judged before the night, on both sides of the meridian.

A framing's angles are those of the camera while the target is east of the meridian. The flip
turns the tube, and with it camera and guider, by 180° on the sky: the frame's rectangle stays
and the patch jumps to the opposite side, unless the rotator turns the camera back and pays for
it with its time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from nightplan.model.star_catalog import Floats, StarCatalog, Stars, star_catalog
from nightplan.planning.framing.guide_advice import guide_advice
from nightplan.planning.framing.guide_brightness import bright_limit_mag
from nightplan.planning.framing.guide_patch import GuidePatch, guide_patch, patch_direction_deg
from nightplan.planning.framing.kept_angles import turns_that_keep
from nightplan.planning.framing.star_density import local_density
from nightplan.sky.angles import axis_turn_deg, wrap_360_deg
from nightplan.sky.tangent_plane import project

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.guider import Guider
    from nightplan.model.target import Target
    from nightplan.planning.framing.framing import Framing

STATES = ("unlikely", "expected", "found")
"""From worst to best; the place in this list is used as the state's rank."""

EXPECTED_COUNT = 3.0
"""Least expected number of stars that counts as `expected`: with it, none has a chance of 5 %."""

FOUND = STATES.index("found")
_ARCMIN = 60.0 * np.degrees(1.0)


@dataclass(frozen=True)
class GuideStar:
    """A star in the patch; distances from the patch's middle and to its nearest edge."""

    ra_deg: float
    dec_deg: float
    g_mag: float
    distance_arcmin: float
    edge_arcmin: float


@dataclass(frozen=True)
class GuideSide:
    """The patch on one side of the meridian.

    Attributes
    ----------
    state : str
        ``"found"``: a star within the guider's limits is in the patch; ``"expected"``: none to
        the catalogue's limit, but at least 3 by local density; ``"unlikely"``: neither.
    stars : tuple of GuideStar
        Those within the limits, brightest first.
    too_bright : tuple of GuideStar
        Those in the patch that clip, brightest first.
    expected_count : float
        Stars to the guider's limit: the known ones, and those expected past the catalogue's.
    panel : int
        Panel that this holds for, from 1.
    image_up_angle_deg : float
        Of the camera on this side.
    ra_deg, dec_deg : float
        The patch's middle, ICRS.
    corners : tuple of (ra_deg, dec_deg)
        Its four corners.
    """

    state: str
    stars: tuple[GuideStar, ...]
    too_bright: tuple[GuideStar, ...]
    expected_count: float
    panel: int
    image_up_angle_deg: float
    ra_deg: float
    dec_deg: float
    corners: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class GuideOutlook:
    """What the guider will find in one framing.

    Attributes
    ----------
    train, sensor : str
        Train and guide sensor that it holds for.
    limit_mag, bright_limit_mag, catalogue_limit_mag : float
        Faintest and brightest of the guider, and of the stars known at the patch (Gaia G).
    patch_width_arcmin, patch_height_arcmin : float
        Size of the patch.
    before_meridian, after_meridian : GuideSide
        Of a mosaic, the panel with the poorest outlook.
    panels : tuple of (GuideSide, GuideSide)
        Before and after, for every panel.
    better_image_up_angle_deg : float or None
        Nearest `image_up_angle_deg` of the framing, before the meridian, that keeps what it frames
        and has a star on both sides; failing that, one with a star before the meridian, which
        turning the camera back at the flip keeps; failing that, one with better prospects.
    better_image_up_angle_deg_reason : str or None
        ``"not_needed"``, ``"guider_does_not_turn"``, or ``"no_better_angle"``.
    better_sensor : str or None
        A larger configured guide sensor that does better at the present angle.
    rotator_turn_s : float or None
        Time the rotator takes to turn the camera back after the flip; none without a rotator.
    advice : str
        One or two sentences.
    """

    train: str
    sensor: str
    limit_mag: float
    bright_limit_mag: float
    catalogue_limit_mag: float
    patch_width_arcmin: float
    patch_height_arcmin: float
    before_meridian: GuideSide
    after_meridian: GuideSide
    panels: tuple[tuple[GuideSide, GuideSide], ...]
    better_image_up_angle_deg: float | None
    better_image_up_angle_deg_reason: str | None
    better_sensor: str | None
    rotator_turn_s: float | None
    advice: str


def guide_outlook(
    config: Config,
    framing: Framing,
    *,
    target: Target | Sequence[Target] | None = None,
    stars: StarCatalog | None = None,
) -> GuideOutlook | None:
    """Judge the guider's patch for a framing; None if the configuration has no guider.

    Parameters
    ----------
    config : Config
        The rig.
    framing : Framing
        Train, panels, and how far the angle may be off (`position_angle_tolerance_deg`).
    target : Target or sequence of Target, optional
        What is framed: then every angle that keeps the framing is tried for a better one; else
        only those within its tolerance.
    stars : StarCatalog, optional
        Stars to use; else the bundled ones with the file `guider.star_file`.

    Raises
    ------
    nightplan.errors.FileError, nightplan.errors.InputError
        The user's star file cannot be used.
    """
    guider = config.guider
    if guider is None:
        return None
    scan = GuideScan(config, framing, guider, stars or star_catalog(config))
    here = scan.sides(guider.fitted)
    ranks = (_worst(here, 0), _worst(here, 1))
    better, reason, gain = _better_angle(scan, guider, ranks, _kept(config, framing, target))
    sensor = _better_sensor(scan, guider, ranks)
    before = min((pair[0] for pair in here), key=_rank)
    after = min((pair[1] for pair in here), key=_rank)
    turn_s = None if config.rotator is None else 180.0 / config.rotator.deg_per_s
    patch = scan.patch(guider.fitted)
    return GuideOutlook(
        train=framing.train,
        sensor=guider.fitted,
        limit_mag=guider.limit_magnitude,
        bright_limit_mag=scan.bright_limit_mag,
        catalogue_limit_mag=scan.catalogue_limit_mag,
        patch_width_arcmin=float(patch.width * _ARCMIN),
        patch_height_arcmin=float(patch.height * _ARCMIN),
        before_meridian=before,
        after_meridian=after,
        panels=here,
        better_image_up_angle_deg=better,
        better_image_up_angle_deg_reason=reason,
        better_sensor=sensor,
        rotator_turn_s=turn_s,
        advice=guide_advice(guider, scan, (before, after), better, gain, sensor, turn_s),
    )


class GuideScan:
    """The stars around every panel, and the patch laid over them at any angle."""

    def __init__(
        self, config: Config, framing: Framing, guider: Guider, catalog: StarCatalog
    ) -> None:
        self.config, self.framing, self.guider, self.catalog = config, framing, guider, catalog
        self.mirrored = config.train[framing.train].mirrored
        self.bright_limit_mag = bright_limit_mag(config, guider, framing.train)
        reach = max(self.patch(name).reach_deg for name in guider.sensor)
        self.near: list[tuple[Stars, Floats, Floats]] = []
        self.too_bright: list[tuple[Stars, Floats, Floats]] = []
        for panel in framing.panels:
            found = catalog.cone(
                panel.ra_deg, panel.dec_deg, reach + 0.01, faintest_mag=guider.limit_magnitude
            )
            clips = found.g_mag < self.bright_limit_mag
            for stars, chosen in ((self.near, ~clips), (self.too_bright, clips)):
                kept = found.keep(np.flatnonzero(chosen))
                xi, eta = project(kept.ra_deg, kept.dec_deg, panel.ra_deg, panel.dec_deg)
                stars.append((kept, xi, eta))
        first = framing.panels[0]
        limit = local_density(catalog, first.ra_deg, first.dec_deg).limit_mag
        self.catalogue_limit_mag = float(limit)

    def patch(self, sensor: str) -> GuidePatch:
        return guide_patch(self.config, self.framing.train, sensor)

    def directions(self, panel: Any, turn_deg: Floats, past: bool) -> Floats:
        past = past and self.config.mount.flips
        up = panel.image_up_angle_deg + turn_deg + (180.0 if past else 0.0)
        return patch_direction_deg(self.guider, up, self.mirrored, past)

    def counts(self, turn_deg: Floats, sensor: str, past: bool) -> tuple[NDArray[Any], Floats]:
        """Known and expected stars, shape (panels, turns) each, for turns of the camera."""
        patch = self.patch(sensor)
        known, expected = [], []
        for panel, (_, xi, eta) in zip(self.framing.panels, self.near, strict=True):
            direction = self.directions(panel, turn_deg, past)
            across, outward = patch.place(xi, eta, direction[:, None])
            count = (patch.edge(across, outward) >= 0.0).sum(axis=1)
            middle = patch.middle(panel.ra_deg, panel.dec_deg, direction)
            density = local_density(self.catalog, *middle)
            known.append(count)
            unknown = density.expected_between(
                patch.area_deg2, self.bright_limit_mag, self.guider.limit_magnitude
            )
            expected.append(count + unknown)
        return np.array(known), np.array(expected)

    def ranks(self, turn_deg: Floats, sensor: str) -> NDArray[Any]:
        """State ranks before and after the meridian, worst panel, shape (2, turns)."""
        rows = []
        for past in (False, True):
            known, expected = self.counts(turn_deg, sensor, past)
            rank = np.where(known > 0, FOUND, (expected >= EXPECTED_COUNT).astype(int))
            rows.append(rank.min(axis=0))
        return np.array(rows)

    def sides(self, sensor: str) -> tuple[tuple[GuideSide, GuideSide], ...]:
        """Every panel's patch before and after the meridian, at the framing's own angle."""
        none = np.zeros(1)
        known, expected = zip(
            *(self.counts(none, sensor, past) for past in (False, True)), strict=True
        )
        return tuple(
            (
                self._side(index, sensor, False, known[0][index, 0], expected[0][index, 0]),
                self._side(index, sensor, True, known[1][index, 0], expected[1][index, 0]),
            )
            for index in range(len(self.framing.panels))
        )

    def _side(self, index: int, sensor: str, past: bool, known: int, expected: float) -> GuideSide:
        patch, panel = self.patch(sensor), self.framing.panels[index]
        direction = float(self.directions(panel, np.zeros(1), past)[0])
        state = "found" if known else STATES[int(expected >= EXPECTED_COUNT)]
        ra, dec = patch.middle(panel.ra_deg, panel.dec_deg, direction)
        return GuideSide(
            state=state,
            stars=_inside(patch, direction, *self.near[index]),
            too_bright=_inside(patch, direction, *self.too_bright[index]),
            expected_count=float(expected),
            panel=index + 1,
            image_up_angle_deg=float(
                wrap_360_deg(
                    panel.image_up_angle_deg + (180.0 if past and self.config.mount.flips else 0.0)
                )
            ),
            ra_deg=float(ra),
            dec_deg=float(dec),
            corners=tuple(
                (float(a), float(d))
                for a, d in zip(*patch.corners(panel.ra_deg, panel.dec_deg, direction), strict=True)
            ),
        )


def _inside(
    patch: GuidePatch, direction_deg: float, stars: Stars, xi: Floats, eta: Floats
) -> tuple[GuideStar, ...]:
    """Stars in the patch, in the order given."""
    across, outward = patch.place(xi, eta, direction_deg)
    edge = patch.edge(across, outward)
    return tuple(
        GuideStar(
            ra_deg=float(stars.ra_deg[row]),
            dec_deg=float(stars.dec_deg[row]),
            g_mag=float(stars.g_mag[row]),
            distance_arcmin=float(np.hypot(across[row], outward[row]) * _ARCMIN),
            edge_arcmin=float(edge[row] * _ARCMIN),
        )
        for row in np.flatnonzero(edge >= 0.0)
    )


def _rank(side: GuideSide) -> tuple[int, float]:
    return STATES.index(side.state), side.expected_count


def _worst(sides: tuple[tuple[GuideSide, GuideSide], ...], which: int) -> int:
    return min(STATES.index(pair[which].state) for pair in sides)


def turns_of_camera_deg(kept: NDArray[np.bool_]) -> Floats:
    """Turns of the camera, whole degrees, that keep the framing.

    `kept` says of 0, 1, ... 179 degrees whether they do; half a circle more always lays the same
    rectangle. First come those that turn the rectangle least, and of two that turn it alike the
    one that turns the camera less.
    """
    turns = np.flatnonzero(kept).astype(float)
    both = np.concatenate((turns, turns - 180.0))
    return both[np.lexsort((np.abs(both), np.abs(axis_turn_deg(0.0, both))))]


def _better_angle(
    scan: GuideScan, guider: Guider, ranks: tuple[int, int], kept: NDArray[np.bool_]
) -> tuple[float | None, str | None, str]:
    """The better angle or the reason that there is none, and what is gained there."""
    if min(ranks) == FOUND:
        return None, "not_needed", ""
    if not guider.moves_with_camera:
        return None, "guider_does_not_turn", ""
    turns = turns_of_camera_deg(kept)
    rank = scan.ranks(turns, guider.fitted)
    for good in _wishes(rank, ranks):
        if good.any():
            index = int(np.argmax(good))
            before, after = rank[:, index]
            gain = "better prospects"
            if before == FOUND:
                gain = "a star on both sides" if after == FOUND else "a star before the meridian"
            up = wrap_360_deg(scan.framing.image_up_angle_deg + turns[index])
            return float(up), None, gain
    return None, "no_better_angle", ""


def _kept(
    config: Config, framing: Framing, target: Target | Sequence[Target] | None
) -> NDArray[np.bool_]:
    if target is not None:
        return turns_that_keep(config, framing, target)
    turns = np.arange(180.0)
    return np.minimum(turns, 180.0 - turns) <= framing.position_angle_tolerance_deg


def _wishes(rank: NDArray[Any], now: tuple[int, int]) -> list[NDArray[np.bool_]]:
    """Which turns fulfil each wish, the best wish first; only such as beat the present angle.

    A star before the meridian is worth more than one after it: there the rotator can turn the
    camera back at the flip and keep it. So the 180° twin is offered where only it has the star.
    """
    before, after = rank
    wishes = [(before == FOUND) & (after == FOUND)]
    if now[0] < FOUND:
        wishes += [(before == FOUND) & (after >= now[1]), before == FOUND]
    worse, other = rank.min(axis=0), rank.max(axis=0)
    return [*wishes, (worse > min(now)) & (other >= max(now))]


def _better_sensor(scan: GuideScan, guider: Guider, ranks: tuple[int, int]) -> str | None:
    """Smallest larger sensor that raises the worse side's state at the present angle."""
    if min(ranks) == FOUND:
        return None
    fitted = scan.patch(guider.fitted).area_deg2
    larger = sorted(
        (scan.patch(name).area_deg2, name)
        for name in guider.sensor
        if scan.patch(name).area_deg2 > fitted
    )
    best: tuple[int, str] | None = None
    for _, name in larger:
        rank = int(scan.ranks(np.zeros(1), name).min())
        if rank > min(ranks) and (best is None or rank > best[0]):
            best = (rank, name)
    return None if best is None else best[1]
