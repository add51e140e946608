"""The guider: off-axis or a telescope of its own, and the stars that it can hold."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from nightplan.model.section import KeyedValueError, Section


class GuideSensor(Section):
    """The sensor of a guide camera. `full_well_e` is at the gain that it guides with."""

    width_px: Annotated[int, Field(ge=16, le=20_000)]
    height_px: Annotated[int, Field(ge=16, le=20_000)]
    pixel_um: Annotated[float, Field(ge=0.5, le=50.0)]
    full_well_e: Annotated[float, Field(ge=100.0, le=1_000_000.0)] = 15_000.0


class Guider(Section):
    """An off-axis guider, whose prism picks a small patch of sky beside the frame; or with `kind`
    `guide_scope` a telescope of its own on the tube.

    `side` is where the patch lies in the picture as the camera sees it: `top` is toward rising
    FITS axis 2. `offset_mm` runs from the middle of the main sensor to the middle of the patch.
    The guide sensor's width, and the prism's, lie along that side of the frame; their heights
    point away from it.

    With `turns_with_camera` the guider sits behind the rotator, and the patch keeps its side of
    the frame at every angle. Without, it sits ahead of the rotator and keeps its place on the
    tube: `fixed_angle_deg` is then the direction on the sky, north through east, from the
    field's middle to the patch while the target is east of the meridian; past the flip it is
    the opposite one. Where that is not given, it is `side` as seen with the camera up to north.

    `limit_magnitude` is the faintest star that guides, Gaia G, for an exposure of `exposure_s`;
    `bright_limit_magnitude` the brightest: without it, the star that fills the guide sensor's
    full well in 0.5 s, the shortest exposure that does not chase the seeing.
    The two distances from the prism run along the light, from the middle of its slanted face;
    `prism_glass_mm` is the way through its glass (0: a mirror, or the maker's figure is in air).

    A guide scope has a `focal_length_mm` and an `aperture_mm` of its own, and looks
    `offset_arcmin` beside the main field's middle, toward `fixed_angle_deg`; what the keys of an
    off-axis guider say of its prism is not used. `flexure_arcsec_min` is how fast its tube bends
    against the main one, which bounds the sub (`mount.trail_px`).
    """

    kind: Literal["off_axis", "guide_scope"] = "off_axis"

    sensor: Annotated[dict[str, GuideSensor], Field(min_length=1)]
    fitted: str
    side: Literal["top", "bottom", "left", "right"] = "top"
    offset_mm: Annotated[float, Field(ge=0.0, le=100.0)] = 0.0
    turns_with_camera: bool = True
    fixed_angle_deg: Annotated[float, Field(ge=0.0, lt=360.0)] | None = None
    exposure_s: Annotated[float, Field(ge=0.001, le=60.0)] = 2.0
    limit_magnitude: Annotated[float, Field(ge=0.0, le=18.0)] = 12.0
    bright_limit_magnitude: Annotated[float, Field(ge=-2.0, le=18.0)] | None = None
    prism_width_mm: Annotated[float, Field(ge=0.5, le=50.0)] = 8.0
    prism_height_mm: Annotated[float, Field(ge=0.5, le=50.0)] = 8.0
    prism_glass_mm: Annotated[float, Field(ge=0.0, le=50.0)] = 0.0
    prism_to_sensor_mm: Annotated[float, Field(ge=1.0, le=300.0)] = 50.0
    prism_to_guide_sensor_mm: Annotated[float, Field(ge=1.0, le=300.0)] = 50.0
    thickness_mm: Annotated[float, Field(ge=0.0, le=100.0)] = 15.0
    focal_length_mm: Annotated[float, Field(ge=0.0, le=5000.0)] = 0.0
    aperture_mm: Annotated[float, Field(ge=0.0, le=500.0)] = 0.0
    offset_arcmin: Annotated[float, Field(ge=0.0, le=600.0)] = 0.0
    flexure_arcsec_min: Annotated[float, Field(ge=0.001, le=600.0)] | None = None
    settle_s: Annotated[float, Field(ge=0.0, le=600.0)] = 20.0
    star_file: str | None = None

    @model_validator(mode="after")
    def _fitted_exists(self) -> Guider:
        if self.fitted not in self.sensor:
            raise KeyedValueError("fitted", self.fitted, f"one of {', '.join(self.sensor)}")
        return self

    @model_validator(mode="after")
    def _has_what_its_kind_needs(self) -> Guider:
        # 0 stands for a key of the other kind.
        needed = {
            "off_axis": {"offset_mm": "a number above 0 to 100"},
            "guide_scope": {
                "focal_length_mm": "a number above 0 to 5000",
                "aperture_mm": "a number above 0 to 500",
            },
        }
        for key, accepted in needed[self.kind].items():
            if key not in self.model_fields_set:
                raise KeyedValueError(key, None, f"{accepted} (the key is required)")
            if getattr(self, key) <= 0.0:
                raise KeyedValueError(key, getattr(self, key), accepted)
        return self

    @property
    def moves_with_camera(self) -> bool:
        """Whether a turn of the camera turns the patch; a guide scope sits on the tube."""
        return self.kind == "off_axis" and self.turns_with_camera

    @model_validator(mode="after")
    def _bright_before_faint(self) -> Guider:
        bright = self.bright_limit_magnitude
        if bright is not None and bright >= self.limit_magnitude:
            raise KeyedValueError(
                "bright_limit_magnitude",
                bright,
                f"below limit_magnitude, {self.limit_magnitude:g}",
            )
        return self

    @property
    def fitted_sensor(self) -> GuideSensor:
        """The guide sensor that is on the rig now."""
        return self.sensor[self.fitted]
