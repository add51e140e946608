"""The train as it is bolted together: back focus, the guider's focus, the cable, the prism.

A plate of glass of thickness t and index n in a converging beam moves the focus back by
t (1 - 1/n) (paraxial; Hecht, *Optics*, the plane-parallel plate, from memory). So a corrector
whose maker asks for a distance in air needs that much more where a filter stands behind it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from nightplan.number_forms import number, percent, signed
from nightplan.planning.optics.beam_shadow import PrismShadow, prism_shadow
from nightplan.planning.optics.train_optics import train_optics

if TYPE_CHECKING:
    from nightplan.model.config import Config

PRISM_GLASS_INDEX = 1.517
"""Borosilicate crown glass at 588 nm, as prisms are made of (from memory)."""

GUIDE_BLUR_PX = 2.0
"""Widest blur of a guide star, in guide pixels, that counts as in focus (common practice, no
source)."""


@dataclass(frozen=True)
class Part:
    """A part and the way that light takes through it, in mm."""

    name: str
    length_mm: float


@dataclass(frozen=True)
class BackFocus:
    """Distance from the corrector's last flange to the sensor, built against required.

    Attributes
    ----------
    parts : tuple of Part
        From the corrector to the sensor (the order of spacers is not known).
    built_mm : float
        Sum of the parts.
    required_mm : float or None
        The maker's distance in air and the glass; none where the maker asks for none.
    glass_mm : float
        Lengthening by filter and camera window that is in `required_mm`.
    difference_mm : float or None
        Built less required: below 0, so much must be added; above 0, taken out.
    tolerance_mm : float
        Difference that does no harm.
    verdict : str
        ``"right"``, ``"too_short"``, ``"too_long"`` or ``"not_required"``.
    """

    parts: tuple[Part, ...]
    built_mm: float
    required_mm: float | None
    glass_mm: float
    difference_mm: float | None
    tolerance_mm: float
    verdict: str


@dataclass(frozen=True)
class GuiderFocus:
    """Whether the guide camera is in focus when the main camera is.

    Attributes
    ----------
    needed_mm : float
        From the prism to the guide sensor, so that both are in focus together.
    built_mm : float
        As configured.
    difference_mm : float
        Built less needed: above 0, the guide camera must move in.
    blur_px : float
        Diameter of a guide star's blur from that difference, guide pixels.
    is_sharp : bool
        Whether the blur stays within two guide pixels.
    """

    needed_mm: float
    built_mm: float
    difference_mm: float
    blur_px: float
    is_sharp: bool


@dataclass(frozen=True)
class RotatorCable:
    """Whether the cable lets the rotator use its travel.

    Attributes
    ----------
    sweep_deg : float
        Travel between the rotator's limits.
    cable_free_deg : float
        Turn that the cable allows.
    is_free : bool
        Whether the cable allows the whole travel.
    every_frame, every_angle : bool
        Whether the usable travel holds every position of the rectangle (180°), and every
        camera angle (360°), which turning the camera back at any flip takes.
    """

    sweep_deg: float
    cable_free_deg: float
    is_free: bool
    every_frame: bool
    every_angle: bool


@dataclass(frozen=True)
class BoltedTrain:
    """All checks of one train; `notes` says them in sentences, `warnings` those that need hands."""

    train: str
    back_focus: BackFocus
    guider_focus: GuiderFocus | None
    shadow: PrismShadow | None
    cable: RotatorCable | None
    notes: tuple[str, ...]
    warnings: tuple[str, ...]


def check_train(config: Config, train: str) -> BoltedTrain:
    """Check one train of the configuration as it is bolted together."""
    back_focus = _back_focus(config, train)
    guider_focus = _guider_focus(config, train)
    shadow = prism_shadow(config, train)
    cable = _cable(config)
    good: list[str] = []
    bad: list[str] = []
    _say_back_focus(back_focus, good, bad)
    _say_guider(config, guider_focus, shadow, good, bad)
    _say_cable(cable, good, bad)
    _say_order(config, train, bad)
    _say_turning(config, train, bad)
    return BoltedTrain(train, back_focus, guider_focus, shadow, cable, (*bad, *good), tuple(bad))


def plate_shift_mm(thickness_mm: float, index: float) -> float:
    """How far a plate of glass moves the focus back: t (1 - 1/n)."""
    return thickness_mm * (1.0 - 1.0 / index)


def _filter_shift_mm(config: Config) -> float:
    """Mean over the wheel's filters."""
    return float(
        np.mean([plate_shift_mm(f.thickness_mm, f.glass_index) for f in config.filter.values()])
    )


def _window_shift_mm(config: Config) -> float:
    """Of the camera's window, unless its flange distance counts it already."""
    camera = config.camera
    if camera.window_counted:
        return 0.0
    return plate_shift_mm(camera.window_thickness_mm, camera.window_index)


def _parts(config: Config, train: str) -> tuple[Part, ...]:
    parts = [Part("spacer", length) for length in config.train[train].spacers_mm]
    if config.rotator is not None:
        parts.append(Part("rotator", config.rotator.thickness_mm))
    if config.off_axis_guider is not None:
        parts.append(Part("off-axis guider", config.off_axis_guider.thickness_mm))
    parts.append(Part("filter wheel", config.wheel.thickness_mm))
    parts.append(Part("camera, flange to sensor", config.camera.flange_to_sensor_mm))
    if config.off_axis_guider is not None and config.rotator is not None:
        rotator, guider = (next(p for p in parts if p.name == n) for n in _TURNING)
        if not config.off_axis_guider.turns_with_camera:
            first, second = parts.index(rotator), parts.index(guider)
            parts[first], parts[second] = guider, rotator
    return tuple(part for part in parts if part.length_mm > 0.0)


_TURNING = ("rotator", "off-axis guider")


def _back_focus(config: Config, train: str) -> BackFocus:
    built_with = config.train[train]
    parts = _parts(config, train)
    built = sum(part.length_mm for part in parts)
    glass = _window_shift_mm(config)
    if not built_with.filter_glass_counted:
        glass += _filter_shift_mm(config)
    tolerance = built_with.spacing_tolerance_mm
    if built_with.required_spacing_mm is None:
        return BackFocus(parts, built, None, glass, None, tolerance, "not_required")
    required = built_with.required_spacing_mm + glass
    difference = built - required
    # A hair of rounding must not turn a difference at the tolerance into a fault.
    if abs(difference) <= tolerance + 1e-9:
        verdict = "right"
    else:
        verdict = "too_short" if difference < 0.0 else "too_long"
    return BackFocus(parts, built, required, glass, difference, tolerance, verdict)


def _guider_focus(config: Config, train: str) -> GuiderFocus | None:
    guider = config.off_axis_guider
    if guider is None:
        return None
    behind = _window_shift_mm(config)
    if guider.prism_to_sensor_mm > config.wheel.distance_to_sensor_mm:
        behind += _filter_shift_mm(config)
    needed = guider.prism_to_sensor_mm - behind
    needed += plate_shift_mm(guider.prism_glass_mm, PRISM_GLASS_INDEX)
    difference = guider.prism_to_guide_sensor_mm - needed
    f_ratio = config.optics.focal_length_mm * config.train[train].factor / config.optics.aperture_mm
    blur = abs(difference) * 1000.0 / f_ratio / guider.fitted_sensor.pixel_um
    return GuiderFocus(
        needed, guider.prism_to_guide_sensor_mm, difference, blur, blur <= GUIDE_BLUR_PX
    )


def _cable(config: Config) -> RotatorCable | None:
    rotator = config.rotator
    if rotator is None:
        return None
    sweep = rotator.maximum_deg - rotator.minimum_deg
    usable = min(sweep, rotator.cable_free_deg)
    return RotatorCable(
        sweep, rotator.cable_free_deg, sweep <= rotator.cable_free_deg, usable >= 180, usable >= 360
    )


def _say_back_focus(found: BackFocus, good: list[str], bad: list[str]) -> None:
    if found.required_mm is None or found.difference_mm is None:
        good.append(f"Back focus: {found.built_mm:.2f} mm built; the corrector asks for none.")
        return
    told = (
        f"Back focus: {found.built_mm:.2f} mm built, {found.required_mm:.2f} mm required "
        f"({found.glass_mm:.2f} mm of it for glass)"
    )
    if found.verdict == "right":
        allowed = f"± {number(found.tolerance_mm, 2)} mm"
        good.append(f"{told}: {signed(found.difference_mm, 2)} mm is within {allowed}.")
    else:
        hands = "add" if found.verdict == "too_short" else "take out"
        bad.append(f"{told}: {hands} {abs(found.difference_mm):.2f} mm.")


def _say_guider(
    config: Config,
    focus: GuiderFocus | None,
    shadow: PrismShadow | None,
    good: list[str],
    bad: list[str],
) -> None:
    guider = config.off_axis_guider
    if focus is None or shadow is None or guider is None:
        return
    told = (
        f"Guide camera: {focus.built_mm:.2f} mm from the prism, {focus.needed_mm:.2f} mm needed "
        f"to be in focus with the main camera"
    )
    if focus.is_sharp:
        good.append(f"{told}: in focus.")
    else:
        way = "in" if focus.difference_mm > 0.0 else "out"
        bad.append(
            f"{told}: move it {way} by {abs(focus.difference_mm):.2f} mm "
            f"(a guide star is now {focus.blur_px:.0f} guide pixels wide)."
        )
    if shadow.is_clear:
        good.append(f"Prism: clear of the main beam by {-shadow.intrusion_mm:.1f} mm.")
    elif shadow.worst_loss <= NOTICED:
        good.append(
            f"Prism: {shadow.intrusion_mm:.1f} mm into the outermost beam, "
            f"which costs at most {percent(shadow.worst_loss)} of a pixel's light."
        )
    else:
        bad.append(
            f"Prism: {shadow.intrusion_mm:.1f} mm into the beam; at the {guider.side} edge "
            f"{percent(shadow.worst_loss)} of the light is lost, over 1 % for "
            f"{shadow.depth_px:.0f} pixels; clear with the patch {shadow.clear_offset_mm:.1f} mm "
            f"from the axis (now {guider.offset_mm:g} mm)."
        )


NOTICED = 0.03
"""Loss at the sensor's edge worth a warning (common practice, no source)."""


def _say_cable(cable: RotatorCable | None, good: list[str], bad: list[str]) -> None:
    if cable is None:
        return
    if not cable.is_free:
        bad.append(
            f"Rotator: its limits allow {cable.sweep_deg:g}° of turn, but the cable only "
            f"{cable.cable_free_deg:g}°."
        )
    else:
        good.append(f"Rotator: the cable allows the whole {cable.sweep_deg:g}° of turn.")
    if not cable.every_frame:
        bad.append("Rotator: less than 180° of turn, so some position angles are out of reach.")


def _say_turning(config: Config, train: str, bad: list[str]) -> None:
    """What is left of a field that turns while the mount tracks."""
    if config.mount.field_turns:
        optics = train_optics(config, train)
        bad.append(
            "Mount: the field turns in the camera, so the subs of a night share no more than the "
            f"circle of {optics.short_side_arcmin:.0f}′ in its middle."
        )


def _say_order(config: Config, train: str, bad: list[str]) -> None:
    """Distances that do not fit the parts they belong to."""
    loose = sum(config.train[train].spacers_mm)
    flange, wheel = config.camera.flange_to_sensor_mm, config.wheel.thickness_mm
    at = config.wheel.distance_to_sensor_mm
    if not flange <= at <= flange + wheel + loose:
        bad.append(
            f"wheel.distance_to_sensor_mm is {at:g}, but the wheel's body lies between "
            f"{flange:g} and {flange + wheel + loose:g} mm before the sensor."
        )
    guider = config.off_axis_guider
    if guider is None:
        return
    rotator = config.rotator
    near = flange + wheel
    if rotator is not None and not guider.turns_with_camera:
        near += rotator.thickness_mm
    far = near + guider.thickness_mm + loose
    if not near <= guider.prism_to_sensor_mm <= far:
        bad.append(
            f"guider.prism_to_sensor_mm is {guider.prism_to_sensor_mm:g}, but the guider's body "
            f"lies between {near:g} and {far:g} mm before the sensor."
        )
    long_side = guider.side in ("top", "bottom")
    half = (config.camera.height_mm if long_side else config.camera.width_mm) / 2.0
    patch = guider.fitted_sensor.height_px * guider.fitted_sensor.pixel_um / 2000.0
    if guider.offset_mm - min(patch, guider.prism_height_mm / 2.0) < half:
        bad.append(
            f"guider.offset_mm is {guider.offset_mm:g}, so the guider's patch overlaps the main "
            f"sensor, whose edge is {half:g} mm from its middle."
        )
