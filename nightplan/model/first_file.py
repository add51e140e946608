"""`nightplan start`: its answers as read, and the short commented configuration they make."""

from __future__ import annotations

import datetime
import math
import re
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from nightplan.model.filter_roles import ROLES

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


NUMBER = re.compile(r"[-+−]?\d+(?:[.,]\d+)?")
PLACE_ACCEPTED = (
    "latitude and longitude in degrees, such as 38.60, -7.55 or 38.60 N 7.55 W, with the height "
    "in metres behind them if you like"
)
CAMERA_ACCEPTED = (
    "five or six numbers: pixels across, pixels down, pixel in µm, read noise in e⁻, full well in "
    "e⁻, and the peak quantum efficiency in % if known, such as 6000 4000 3.9 1.4 18000 85"
)
FILTERS_ACCEPTED = (
    "names parted by blanks, narrow ones with their width in nm, such as L R G B Ha 3 OIII 3 SII 3"
)

ROLE_OF_LABEL = {role.label.upper(): name for name, role in ROLES.items()}
SPARE_MM = 2.0
"""Clear aperture of the filters beyond what the fastest train's corner needs."""


@dataclass(frozen=True)
class Place:
    """Where the rig stands: degrees, longitude positive to the east, and metres."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float


@dataclass(frozen=True)
class CameraFigures:
    """A camera by its data sheet; `peak_efficiency` is a share of 0 to 1."""

    width_px: int
    height_px: int
    pixel_um: float
    read_noise_e: float
    full_well_e: float
    peak_efficiency: float


@dataclass(frozen=True)
class FilterFigures:
    """One filter: name, role, centre and full width at half maximum in nm."""

    name: str
    role: str
    centre_nm: float
    width_nm: float


@dataclass(frozen=True)
class FirstAnswers:
    """All eight answers. `sky` is ``("bortle_class", 4)`` or ``("sky_mag_arcsec2", 21.4)``."""

    place: Place
    sky: tuple[str, float]
    aperture_mm: float
    focal_length_mm: float
    factors: tuple[float, ...]
    camera: CameraFigures
    filters: tuple[FilterFigures, ...]
    rotator: bool


def read_place(text: str) -> Place:
    """A place from coordinates, or from a map position as it is pasted (a link or ``geo:``)."""
    south = re.search(r"(?<![A-Za-z])S(?![A-Za-z])", text, re.I)
    west = re.search(r"(?<![A-Za-z])W(?![A-Za-z])", text, re.I)
    pasted = re.search(r"(?:geo:|@|#map=\d+/|[=/])([-+]?\d+\.\d+)[,/]([-+]?\d+\.\d+)", text)
    height = 0.0
    if pasted:
        latitude, longitude = float(pasted[1]), float(pasted[2])
    elif "°" in text:
        parts = [
            [_number(item) for item in NUMBER.findall(part)]
            for part in re.split(r"[NSEW]", text, flags=re.I)
        ]
        angles = [part for part in parts if part]
        if len(angles) < 2:
            raise ValueError(PLACE_ACCEPTED)
        latitude, longitude = _sexagesimal(angles[0]), _sexagesimal(angles[1])
        height = angles[2][0] if len(angles) > 2 else 0.0
    else:
        plain = re.sub(r"(\d),(\d)", r"\1.\2", text) if "." not in text else text
        numbers = [_number(item) for item in re.findall(r"[-+−]?\d+(?:\.\d+)?", plain)]
        if len(numbers) not in (2, 3):
            raise ValueError(PLACE_ACCEPTED)
        latitude, longitude = numbers[0], numbers[1]
        height = numbers[2] if len(numbers) > 2 else 0.0
    if south and not pasted:
        latitude = -abs(latitude)
    if west and not pasted:
        longitude = -abs(longitude)
    if not (abs(latitude) <= 90.0 and abs(longitude) <= 180.0 and -430.0 <= height <= 6500.0):
        raise ValueError(PLACE_ACCEPTED)
    return Place(latitude, longitude, height)


def read_sky(text: str) -> tuple[str, float]:
    """A Bortle class from 1 to 9, or a zenith sky in mag/arcsec² from 14 to 22.5."""
    value = _one_number(text, 1.0, 22.5, "a Bortle class from 1 to 9, or 14 to 22.5 mag/arcsec²")
    if value <= 9.0 and value == int(value):
        return "bortle_class", value
    if value < 14.0:
        raise ValueError("a Bortle class from 1 to 9, or 14 to 22.5 mag/arcsec²")
    return "sky_mag_arcsec2", value


def read_aperture(text: str) -> float:
    """Free diameter in mm."""
    return _one_number(text, 10.0, 2000.0, "a diameter from 10 to 2000 mm")


def read_focal_length(text: str) -> float:
    """Native focal length in mm."""
    return _one_number(text, 20.0, 20_000.0, "a focal length from 20 to 20000 mm")


def read_factors(text: str) -> tuple[float, ...]:
    """Factor of each train: 1 for a flattener, below 1 for reducers."""
    accepted = "a factor from 0.2 to 5 for each train, such as 1 0.75"
    numbers = tuple(_number(item) for item in NUMBER.findall(text))
    good = numbers and all(0.2 <= value <= 5.0 for value in numbers)
    if not good or len(set(numbers)) != len(numbers):
        raise ValueError(accepted)
    return numbers


def read_camera(text: str) -> CameraFigures:
    """A camera from its data sheet's few figures."""
    numbers = [_number(item) for item in NUMBER.findall(text.replace("%", " "))]
    if len(numbers) not in (5, 6):
        raise ValueError(CAMERA_ACCEPTED)
    peak = numbers[5] if len(numbers) == 6 else 85.0
    share = peak / 100.0 if peak > 1.0 else peak
    width, height, pixel, noise, well = numbers[:5]
    whole = width == int(width) and height == int(height)
    if not (
        whole
        and 16 <= width <= 100_000
        and 16 <= height <= 100_000
        and 0.5 <= pixel <= 100.0
        and 0.0 <= noise <= 100.0
        and 100.0 <= well <= 1e7
        and 0.05 <= share <= 1.0
    ):
        raise ValueError(CAMERA_ACCEPTED)
    return CameraFigures(int(width), int(height), pixel, noise, well, share)


def read_filters(text: str) -> tuple[FilterFigures, ...]:
    """Filters by name, a width in nm behind those that pass one line."""
    found: dict[str, FilterFigures] = {}
    words = re.findall(r"[A-Za-z]+|\d+(?:\.\d+)?", re.sub(r"nm\b", "", text))
    for place, word in enumerate(words):
        if word[0].isdigit():
            continue
        behind = words[place + 1] if place + 1 < len(words) else ""
        width = float(behind) if behind[:1].isdigit() else None
        role = ROLE_OF_LABEL.get(word.upper())
        if role is None:
            raise ValueError(FILTERS_ACCEPTED)
        name, (centre, usual) = ROLES[role].label, ROLES[role].usual_nm
        found[name] = FilterFigures(name, role, centre, width or usual)
    if not found or any(not 0.0 < item.width_nm <= 500.0 for item in found.values()):
        raise ValueError(FILTERS_ACCEPTED)
    return tuple(found.values())


def read_yes(text: str) -> bool:
    """Yes or no."""
    word = text.strip().lower()
    if word in ("y", "yes", "1"):
        return True
    if word in ("n", "no", "0"):
        return False
    raise ValueError("yes or no")


def likely_zone(longitude_deg: float, here: str | None, now: datetime.datetime) -> str:
    """The computer's time zone where it suits the longitude, else one by the longitude alone.

    Zones wander from the sun by up to three hours; beyond that the computer stands elsewhere.
    """
    if here is not None:
        try:
            offset = now.astimezone(ZoneInfo(here)).utcoffset()
        except Exception:
            offset = None
        hours = None if offset is None else offset / datetime.timedelta(hours=1)
        if hours is not None and abs((hours - longitude_deg / 15.0 + 12.0) % 24.0 - 12.0) <= 3.5:
            return here
    hours = round(longitude_deg / 15.0)
    # POSIX counts the hours west of Greenwich positive.
    return "Etc/GMT" if hours == 0 else f"Etc/GMT{-hours:+d}"


def _sexagesimal(parts: list[float]) -> float:
    sign = -1.0 if parts[0] < 0.0 else 1.0
    degrees, minutes, seconds = (*parts, 0.0, 0.0)[:3]
    return sign * (abs(degrees) + minutes / 60.0 + seconds / 3600.0)


def _number(text: str) -> float:
    return float(text.replace(",", ".").replace("−", "-"))


def _one_number(text: str, low: float, high: float, accepted: str) -> float:
    numbers = NUMBER.findall(text)
    if len(numbers) != 1 or not low <= _number(numbers[0]) <= high:
        raise ValueError(accepted)
    return _number(numbers[0])
