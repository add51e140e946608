"""Does the pick-off prism stand in the light of the main sensor?

The light for one point of the sensor comes as a cone. At a distance d before the sensor it is a
disc of diameter d / N, N being the f-ratio (behind a secondary mirror: a ring). Its middle lies
on the line to the middle of the aperture, taken to be one focal length away: a point h off the
axis has it at h (1 - d / f). Elementary geometry; a flattener or reducer moves the exit pupil a
little, which matters at the level of a tenth of a millimetre.

The prism's slanted face turns the light away from the axis, so of its inner edge the end toward
the telescope reaches farthest in: half the prism's height before its middle.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.plane.disc_rectangle import disc_rectangle_area

if TYPE_CHECKING:
    from nightplan.model.config import Config

_GRID = 101
NOTICED_LOSS = 0.01
"""Loss of light that is counted as a shadow: flats still take it out without a trace."""


@dataclass(frozen=True)
class PrismShadow:
    """What the prism takes from the main sensor.

    Attributes
    ----------
    intrusion_mm : float
        How far the prism's inner edge reaches into the outermost pixels' beam; negative is room.
    worst_loss : float
        Share of light that the worst pixel loses, 0 to 1.
    depth_px : float
        How far in from the sensor's edge a loss of one per cent reaches, in pixels.
    shaded_share : float
        Share of the sensor that loses more than one per cent.
    clear_offset_mm : float
        Least `guider.offset_mm` that leaves every pixel its full light.
    """

    intrusion_mm: float
    worst_loss: float
    depth_px: float
    shaded_share: float
    clear_offset_mm: float

    @property
    def is_clear(self) -> bool:
        """Whether every pixel keeps its full light."""
        return self.intrusion_mm <= 0.0


def prism_shadow(config: Config, train: str) -> PrismShadow | None:
    """The prism's shadow on the main sensor in one train; None without a guider."""
    guider, camera, optics = config.off_axis_guider, config.camera, config.optics
    if guider is None:
        return None
    focal_mm = optics.focal_length_mm * config.train[train].factor
    edge_mm = guider.prism_to_sensor_mm + guider.prism_height_mm / 2.0
    shrink = 1.0 - edge_mm / focal_mm
    beam_mm = edge_mm * optics.aperture_mm / focal_mm / 2.0
    upright = guider.side in ("top", "bottom")
    half_out = (camera.height_mm if upright else camera.width_mm) / 2.0
    half_along = (camera.width_mm if upright else camera.height_mm) / 2.0
    aim = 1.0 - guider.prism_to_sensor_mm / focal_mm
    inner = guider.offset_mm * aim - guider.prism_height_mm / 2.0
    reach = half_out * shrink + beam_mm
    along = np.linspace(-half_along, half_along, _GRID)
    out = np.linspace(-half_out, half_out, 4 * _GRID)
    loss = _loss(
        along[:, None] * shrink,
        out * shrink,
        beam_mm,
        beam_mm * optics.obstruction_mm / optics.aperture_mm,
        guider.prism_width_mm / 2.0,
        (inner, inner + guider.prism_height_mm),
    )
    shaded = loss > NOTICED_LOSS
    depth_mm = half_out - out[np.argmax(shaded.any(axis=0))] if shaded.any() else 0.0
    return PrismShadow(
        intrusion_mm=reach - inner,
        worst_loss=float(loss.max()),
        depth_px=float(depth_mm / camera.pixel_um * 1000.0),
        shaded_share=float(shaded.mean()),
        clear_offset_mm=(reach + guider.prism_height_mm / 2.0) / aim,
    )


def _loss(
    x: np.ndarray,
    y: np.ndarray,
    outer: float,
    inner: float,
    half_width: float,
    y_range: tuple[float, float],
) -> np.ndarray:
    """Share of every beam that the prism covers."""
    x_range = (-half_width, half_width)
    covered = disc_rectangle_area(x, y, outer, x_range, y_range)
    if inner > 0.0:
        covered = covered - disc_rectangle_area(x, y, inner, x_range, y_range)
    return np.clip(covered / (np.pi * (outer**2 - inner**2)), 0.0, 1.0)
