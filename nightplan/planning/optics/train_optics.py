"""What the sensor sees through one train: scale, field, sampling, and how well its corners fare."""

from __future__ import annotations

import difflib
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from nightplan.errors import InputError
from nightplan.light.throughput import collecting_area_cm2
from nightplan.plane.circles import annulus_share_inside, rectangle_share_inside_circle

if TYPE_CHECKING:
    from nightplan.model.config import Config

ARCSEC_PER_RADIAN = 180.0 * 3600.0 / math.pi
ARCMIN_PER_RADIAN = 180.0 * 60.0 / math.pi

SAMPLING_WORDS = (
    (1.2, "strongly undersampled"),
    (2.0, "slightly undersampled"),
    (3.5, "well sampled"),
    (math.inf, "oversampled"),
)
"""Upper bound, in pixels per FWHM of the seeing, of each word.

Two pixels per FWHM is the Nyquist rate; 2 to 3.5 as the good range is common practice, no source.
"""


@dataclass(frozen=True)
class FilterClearance:
    """How one filter's edge treats the beam that goes to the sensor's corner.

    Attributes
    ----------
    filter : str
        The filter's name.
    clear_aperture_mm : float
        Its open diameter.
    needed_mm : float
        Clear aperture that leaves the corner fully lit: diagonal + distance / f-ratio.
    corner_illumination : float
        Share of the corner's beam that passes, 0 to 1; other vignetting is not in it.
    """

    filter: str
    clear_aperture_mm: float
    needed_mm: float
    corner_illumination: float

    @property
    def is_large_enough(self) -> bool:
        """Whether the corner is fully lit."""
        return self.clear_aperture_mm >= self.needed_mm


@dataclass(frozen=True)
class TrainOptics:
    """Optics of one train with the configured camera behind it.

    Attributes
    ----------
    name : str
        The train's name.
    focal_length_mm, aperture_mm, f_ratio, obstruction_mm, clear_area_cm2 : float
        f-ratio = focal length / aperture.
    pixel_um, width_px, height_px : float, int, int
        Pixels along FITS axis 1 (width) and axis 2 (height).
    image_scale_arcsec_px : float
        At the middle of the field, ARCSEC_PER_RADIAN x pixel / focal length.
    field_width_deg, field_height_deg : float
        Exact full angles along FITS axis 1 and 2: 2 atan(size / (2 x focal length)).
    half_width_plane, half_height_plane : float
        The same as half sides in the tangent plane, radians: size / (2 x focal length).
    seeing_arcsec, pixels_per_fwhm : float
        Seeing of the site (FWHM), and that over the image scale.
    sampling : str
        One of the words of `SAMPLING_WORDS`.
    diagonal_mm, image_circle_mm : float
        Of the sensor, and of the train's corrected field.
    circle_share : float
        Share of the sensor's area inside the image circle, 0 to 1.
    filters : tuple of FilterClearance
        One for each filter of the wheel, in the configuration's order.
    mirrored : bool
        Whether the train reverses the picture.
    """

    name: str
    focal_length_mm: float
    aperture_mm: float
    f_ratio: float
    obstruction_mm: float
    clear_area_cm2: float
    pixel_um: float
    width_px: int
    height_px: int
    image_scale_arcsec_px: float
    field_width_deg: float
    field_height_deg: float
    half_width_plane: float
    half_height_plane: float
    seeing_arcsec: float
    pixels_per_fwhm: float
    sampling: str
    diagonal_mm: float
    image_circle_mm: float
    circle_share: float
    filters: tuple[FilterClearance, ...]
    mirrored: bool

    @property
    def long_side_arcmin(self) -> float:
        """Longer side of the field, arcminutes."""
        return 60.0 * max(self.field_width_deg, self.field_height_deg)

    @property
    def short_side_arcmin(self) -> float:
        """Shorter side of the field, arcminutes."""
        return 60.0 * min(self.field_width_deg, self.field_height_deg)

    @property
    def half_long_plane(self) -> float:
        """Half the longer side in the tangent plane, radians."""
        return max(self.half_width_plane, self.half_height_plane)

    @property
    def half_short_plane(self) -> float:
        """Half the shorter side in the tangent plane, radians."""
        return min(self.half_width_plane, self.half_height_plane)

    @property
    def circle_covers(self) -> bool:
        """Whether the image circle covers the sensor's diagonal."""
        return self.image_circle_mm >= self.diagonal_mm

    @property
    def corner_illumination(self) -> float:
        """Least corner illumination over the filters, 0 to 1."""
        return min(item.corner_illumination for item in self.filters)


def train_optics(config: Config, name: str) -> TrainOptics:
    """Optics of the train called `name`.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train; the valid names are listed.
    """
    train = config.train.get(name)
    if train is None:
        near = difflib.get_close_matches(name, list(config.train), n=1)
        hint = f" (nearest: {near[0]})" if near else ""
        raise InputError(str(config.path), "train", name, f"one of {', '.join(config.train)}{hint}")
    camera, optics = config.camera, config.optics
    focal_mm = optics.focal_length_mm * train.factor
    f_ratio = focal_mm / optics.aperture_mm
    half_width = camera.width_mm / (2.0 * focal_mm)
    half_height = camera.height_mm / (2.0 * focal_mm)
    scale = ARCSEC_PER_RADIAN * camera.pixel_um / (1000.0 * focal_mm)
    per_fwhm = config.site.seeing_arcsec / scale
    return TrainOptics(
        name=name,
        focal_length_mm=focal_mm,
        aperture_mm=optics.aperture_mm,
        f_ratio=f_ratio,
        obstruction_mm=optics.obstruction_mm,
        clear_area_cm2=collecting_area_cm2(
            optics.aperture_mm, optics.obstruction_mm, optics.spider_vanes, optics.spider_vane_mm
        ),
        pixel_um=camera.pixel_um,
        width_px=camera.width_px,
        height_px=camera.height_px,
        image_scale_arcsec_px=scale,
        field_width_deg=math.degrees(2.0 * math.atan(half_width)),
        field_height_deg=math.degrees(2.0 * math.atan(half_height)),
        half_width_plane=half_width,
        half_height_plane=half_height,
        seeing_arcsec=config.site.seeing_arcsec,
        pixels_per_fwhm=per_fwhm,
        sampling=sampling_word(per_fwhm),
        diagonal_mm=camera.diagonal_mm,
        image_circle_mm=train.image_circle_mm,
        circle_share=rectangle_share_inside_circle(
            camera.width_mm, camera.height_mm, train.image_circle_mm
        ),
        filters=tuple(
            filter_clearance(
                filter_name,
                item.clear_aperture_mm,
                camera.diagonal_mm,
                config.wheel.distance_to_sensor_mm,
                f_ratio,
                optics.obstruction_mm / optics.aperture_mm,
            )
            for filter_name, item in config.filter.items()
        ),
        mirrored=train.mirrored,
    )


def all_train_optics(config: Config) -> tuple[TrainOptics, ...]:
    """Optics of every train, in the configuration's order."""
    return tuple(train_optics(config, name) for name in config.train)


def sampling_word(pixels_per_fwhm: float) -> str:
    """Word for a sampling, from `SAMPLING_WORDS`."""
    return next(word for bound, word in SAMPLING_WORDS if pixels_per_fwhm < bound)


@lru_cache(maxsize=256)
def filter_clearance(
    name: str,
    clear_aperture_mm: float,
    diagonal_mm: float,
    distance_mm: float,
    f_ratio: float,
    obstruction_share: float = 0.0,
) -> FilterClearance:
    """Clear aperture that a filter needs, and what the corner loses below it.

    At `distance_mm` before focus a beam is a disc (a ring, behind a secondary mirror) of
    diameter distance / f-ratio. The corner's beam is taken as parallel to the axis, its middle
    half a diagonal off, so full illumination takes a clear aperture of
    diagonal + distance / f-ratio; below that, the filter's edge cuts the disc and the loss is
    the part of it outside (two circles' overlap).

    Parameters
    ----------
    name : str
        The filter's name.
    clear_aperture_mm, diagonal_mm, distance_mm, f_ratio : float
        Open diameter, sensor diagonal, distance from filter to sensor, f-ratio.
    obstruction_share : float
        Diameter of the secondary mirror over that of the aperture.
    """
    beam = distance_mm / f_ratio
    share = annulus_share_inside(
        beam / 2.0, beam / 2.0 * obstruction_share, clear_aperture_mm / 2.0, diagonal_mm / 2.0
    )
    return FilterClearance(
        filter=name,
        clear_aperture_mm=clear_aperture_mm,
        needed_mm=diagonal_mm + beam,
        corner_illumination=float(share),
    )
