"""The short commented configuration that a first set-up writes."""

from __future__ import annotations

import math

from nightplan.model.first_answers import SPARE_MM, FirstAnswers

EFFICIENCY_SHAPE = (
    (350, 0.50), (400, 0.75), (450, 0.92), (500, 0.99), (530, 1.00), (560, 0.98), (600, 0.91),
    (656, 0.78), (672, 0.73), (700, 0.66), (750, 0.52), (800, 0.40), (900, 0.20), (1000, 0.07),
)  # fmt: skip
"""Share of the peak by wavelength in nm, typical of a back-illuminated silicon sensor (common
practice, no source); the data sheet's curve is better."""

CIRCLE_SPARE = 1.05
WHEEL_TO_SENSOR_MM = 25.0


def first_file(answers: FirstAnswers, name: str, timezone: str) -> str:
    """The configuration as TOML text: what was answered, and what was assumed, said as such."""
    parts = [_site(answers, name, timezone), _optics(answers), _camera(answers)]
    parts += [_filters(answers), _rest(answers)]
    return "\n".join(parts)


def train_names(factors: tuple[float, ...]) -> list[str]:
    """A name for each factor: flattener, reducer, extender, numbered where several are alike."""
    names: list[str] = []
    for factor in factors:
        word = "flattener" if factor == 1.0 else "reducer" if factor < 1.0 else "extender"
        alike = sum(name.startswith(word) for name in names)
        names.append(f"{word}_{alike + 1}" if alike else word)
    return names


def _site(answers: FirstAnswers, name: str, timezone: str) -> str:
    place = answers.place
    key, sky = answers.sky
    return f"""\
# nightplan: your site, your rig and your habits. Lines marked "assumed" were not asked for.
# Every key: docs/reference/configuration.md. Read it back with: nightplan check

[site]
name = "{name}"
latitude_deg = {place.latitude_deg:.4f}
longitude_deg = {place.longitude_deg:.4f}   # positive to the east
elevation_m = {place.elevation_m:.0f}
timezone = "{timezone}"
{key} = {sky:g}
seeing_arcsec = 2.5                # assumed: full width at half maximum of a star

# Your skyline, azimuth from north through east and altitude, degrees. Flat until you write it.
# [horizon]
# profile_deg = [[0, 8], [90, 15], [180, 5], [270, 12]]
"""


def _optics(answers: FirstAnswers) -> str:
    lines = [
        "[optics]",
        f"aperture_mm = {answers.aperture_mm:g}",
        f"focal_length_mm = {answers.focal_length_mm:g}",
        "",
        "# Each way of bolting the rig together. Assumed: the corrected circle holds the sensor.",
    ]
    circle = math.ceil(CIRCLE_SPARE * _diagonal_mm(answers))
    for name, factor in zip(train_names(answers.factors), answers.factors, strict=True):
        lines += [
            f"[train.{name}]",
            f"factor = {factor:g}",
            f"image_circle_mm = {circle}",
            "# required_spacing_mm = 55.0     # the corrector's; then the spacing is checked",
            "",
        ]
    return "\n".join(lines)


def _camera(answers: FirstAnswers) -> str:
    camera = answers.camera
    bits = 16
    curve = ", ".join(
        f"[{wave}, {share * camera.peak_efficiency:.2f}]" for wave, share in EFFICIENCY_SHAPE
    )
    return f"""\
[camera]
width_px = {camera.width_px}
height_px = {camera.height_px}
pixel_um = {camera.pixel_um:g}
bits = {bits}                          # assumed
sensor_temperature_c = -10         # assumed
# Assumed: a typical curve with your peak; the data sheet's own is better.
quantum_efficiency = [{curve}]

[camera.gain.usual]
read_noise_e = {camera.read_noise_e:g}
full_well_e = {camera.full_well_e:g}
# Assumed: the converter is full when the pixel is.
e_per_adu = {camera.full_well_e / 2**bits:.4g}
"""


def _filters(answers: FirstAnswers) -> str:
    fastest = answers.focal_length_mm * min(answers.factors) / answers.aperture_mm
    clear = math.ceil(_diagonal_mm(answers) + WHEEL_TO_SENSOR_MM / fastest + SPARE_MM)
    lines = [
        "[wheel]",
        f"distance_to_sensor_mm = {WHEEL_TO_SENSOR_MM:g}       # assumed",
        f"positions = {max(7, len(answers.filters))}",
        "",
        "# Centre and full width at half maximum. The open diameter is assumed to be wide enough.",
    ]
    for item in answers.filters:
        lines += [
            f"[filter.{item.name}]",
            f'role = "{item.role}"',
            f"centre_nm = {item.centre_nm:g}",
            f"width_nm = {item.width_nm:g}",
            "peak_transmission = 0.9",
            f"clear_aperture_mm = {clear}",
            "",
        ]
    return "\n".join(lines)


def _rest(answers: FirstAnswers) -> str:
    rotator = (
        "[rotator]\n# sense = 1        # or -1: nightplan angle finds it from two solutions"
        if answers.rotator
        else "# No rotator: the camera is turned by hand, nightplan angle says how far."
    )
    return f"""\
[mount]
track_past_meridian_min = 10       # assumed: then the mount stops and flips
flip_min = 3

{rotator}

# [guider]                         # an off-axis guider: then guide stars are looked for

[preferences]
minimum_altitude_deg = 30
# targets = ["M 31", "NGC 7000"]   # plan these; else the best of the catalogue tonight
"""


def _diagonal_mm(answers: FirstAnswers) -> float:
    camera = answers.camera
    return math.hypot(camera.width_px, camera.height_px) * camera.pixel_um / 1000.0
