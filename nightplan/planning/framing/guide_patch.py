"""The small patch of sky that the off-axis guider's prism picks out beside the frame.

In the focal plane the patch is a rectangle whose middle lies `offset_mm` from the middle of the
main sensor, so in the tangent plane it is the same rectangle divided by the focal length, laid
in the direction from the field's middle to the patch. Its long sides are those of the guide
sensor, cut down to the prism's face: farther out a star gets less than half its light (a prism
that stands before the focus has soft edges; the half-light line is common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nightplan.model.star_catalog import Floats
from nightplan.sky.angles import wrap_360_deg
from nightplan.sky.tangent_plane import deproject

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.guider import Guider


@dataclass(frozen=True)
class GuidePatch:
    """A patch in the tangent plane: all lengths are tangents, focal-plane size / focal length.

    Attributes
    ----------
    offset : float
        From the field's middle to the patch's middle.
    width, height : float
        Across the direction to the patch, and along it.
    """

    offset: float
    width: float
    height: float

    @property
    def area_deg2(self) -> float:
        """Solid angle, square degrees (the tangent plane's cos³ at the patch's middle)."""
        plane = self.width * self.height * np.degrees(1.0) ** 2
        return float(plane * (1.0 + self.offset**2) ** -1.5)

    @property
    def reach_deg(self) -> float:
        """Angle from the field's middle to the patch's farthest corner."""
        far = np.hypot(self.offset + self.height / 2.0, self.width / 2.0)
        return float(np.degrees(np.arctan(far)))

    def place(
        self, xi: ArrayLike, eta: ArrayLike, direction_deg: ArrayLike
    ) -> tuple[Floats, Floats]:
        """Where points of the tangent plane lie from the patch's middle: (across, outward)."""
        direction = np.radians(direction_deg)
        sin, cos = np.sin(direction), np.cos(direction)
        x, y = np.asarray(xi, float), np.asarray(eta, float)
        return x * cos - y * sin, x * sin + y * cos - self.offset

    def edge(self, across: Floats, outward: Floats) -> Floats:
        """Distance to the patch's nearest edge, negative outside."""
        return np.minimum(self.width / 2.0 - np.abs(across), self.height / 2.0 - np.abs(outward))

    def middle(
        self, ra_deg: ArrayLike, dec_deg: ArrayLike, direction_deg: ArrayLike
    ) -> tuple[Floats, Floats]:
        """The patch's middle on the sky (ra, dec), for a field's middle and a direction."""
        direction = np.radians(direction_deg)
        return deproject(
            self.offset * np.sin(direction), self.offset * np.cos(direction), ra_deg, dec_deg
        )

    def corners(self, ra_deg: float, dec_deg: float, direction_deg: float) -> tuple[Floats, Floats]:
        """The patch's four corners on the sky, in order round it; two arrays of shape (4,)."""
        across = self.width / 2.0 * np.array([-1.0, 1.0, 1.0, -1.0])
        outward = self.offset + self.height / 2.0 * np.array([-1.0, -1.0, 1.0, 1.0])
        sin, cos = np.sin(np.radians(direction_deg)), np.cos(np.radians(direction_deg))
        return deproject(
            across * cos + outward * sin, outward * cos - across * sin, ra_deg, dec_deg
        )


def guide_patch(config: Config, train: str, sensor: str | None = None) -> GuidePatch:
    """The patch of a configured guider in one train.

    Parameters
    ----------
    config : Config
        With a guider.
    train : str
        Name of the train: an off-axis guider works at its focal length.
    sensor : str, optional
        Which guide sensor; else the one fitted.
    """
    guider = _guider(config)
    chosen = guider.sensor[sensor or guider.fitted]
    if guider.kind == "guide_scope":
        focal_mm = guider.focal_length_mm
        return GuidePatch(
            math.tan(math.radians(guider.offset_arcmin / 60.0)),
            chosen.width_px * chosen.pixel_um / 1000.0 / focal_mm,
            chosen.height_px * chosen.pixel_um / 1000.0 / focal_mm,
        )
    focal_mm = config.optics.focal_length_mm * config.train[train].factor
    width_mm = min(chosen.width_px * chosen.pixel_um / 1000.0, guider.prism_width_mm)
    height_mm = min(chosen.height_px * chosen.pixel_um / 1000.0, guider.prism_height_mm)
    return GuidePatch(guider.offset_mm / focal_mm, width_mm / focal_mm, height_mm / focal_mm)


def patch_direction_deg(
    guider: Guider, image_up_angle_deg: ArrayLike, mirrored: bool, past_meridian: bool = False
) -> NDArray[np.float64]:
    """Direction on the sky, north through east, from the field's middle to the patch.

    Parameters
    ----------
    guider : Guider
        Its side, and whether it turns with the camera.
    image_up_angle_deg : array_like
        Direction of rising FITS axis 2 at that time (past the flip it is 180° more, unless the
        rotator has turned back).
    mirrored : bool
        Whether the train reverses the picture; unmirrored, rising axis 1 is 90° less than
        axis 2, mirrored it is 90° more.
    past_meridian : bool
        Only for a guider that does not turn with the camera: it follows the tube, which the
        flip turns by 180°.
    """
    up = np.asarray(image_up_angle_deg, dtype=np.float64)
    turn = _turn_from_up(guider.side, mirrored)
    if guider.moves_with_camera:
        return wrap_360_deg(up + turn)
    fixed = guider.fixed_angle_deg
    start = _turn_from_up(guider.side, mirrored=False) if fixed is None else fixed
    return wrap_360_deg(np.full(up.shape, start + (180.0 if past_meridian else 0.0)))


def _turn_from_up(side: str, mirrored: bool) -> float:
    right = 90.0 if mirrored else -90.0
    return {"top": 0.0, "bottom": 180.0, "right": right, "left": -right}[side]


def _guider(config: Config) -> Guider:
    if config.guider is None:
        raise ValueError("the configuration has no guider")
    return config.guider
