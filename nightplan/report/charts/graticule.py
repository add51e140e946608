"""Lines of right ascension and declination across a chart, with labels where they leave it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from nightplan.arrays import Floats
from nightplan.report.charts.chart_plane import ChartPlane

RA_STEPS_S = (
    5, 10, 15, 20, 30, 60, 120, 180, 300, 600, 900, 1200, 1800, 3600, 7200, 10800, 21600,
)  # fmt: skip
DEC_STEPS_ARCMIN = (1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 300, 600, 900)
EDGES = ("bottom", "left", "top", "right")
_POINTS = 181


@dataclass(frozen=True)
class GridLine:
    """One line: its points (n, 2) on the chart, its label, and where it leaves each edge.

    `exits` maps an edge's name to the chart coordinate along that edge.
    """

    label: str
    points: Floats
    exits: dict[str, float]


def graticule(plane: ChartPlane, lines: int = 5) -> tuple[list[GridLine], list[GridLine]]:
    """Lines of right ascension and of declination, about `lines` of each across the chart."""
    wanted_deg = 2.0 * plane.half_deg / lines
    radius = plane.radius_deg
    dec_low = max(plane.dec_deg - radius, -90.0)
    dec_high = min(plane.dec_deg + radius, 90.0)
    dec_step = _step(DEC_STEPS_ARCMIN, wanted_deg * 60.0)
    shrink = max(float(np.cos(np.radians(plane.dec_deg))), 1e-3)
    ra_step = _step(RA_STEPS_S, wanted_deg * 240.0 / shrink)
    whole_turn = plane.shows_pole or dec_high >= 89.9 or dec_low <= -89.9
    widest = float(np.cos(np.radians(max(abs(dec_low), abs(dec_high)))))
    ra_half = 180.0 if whole_turn else min(radius / max(widest, 1e-6) * 1.2, 180.0)
    first = np.ceil((plane.ra_deg - ra_half) * 240.0 / ra_step)
    last = np.floor((plane.ra_deg + ra_half) * 240.0 / ra_step)
    if ra_half >= 180.0:
        last = first + 86_400 / ra_step - 1
    decs = np.linspace(dec_low, dec_high, _POINTS)
    ras = plane.ra_deg + np.linspace(-ra_half, ra_half, 4 * _POINTS)
    ra_lines = [
        _line(
            plane,
            ra_label(number * ra_step, ra_step),
            np.full(_POINTS, number * ra_step / 240.0),
            decs,
        )
        for number in np.arange(first, last + 0.5)
    ]
    dec_lines = []
    for number in np.arange(
        np.ceil(dec_low * 60 / dec_step), np.floor(dec_high * 60 / dec_step) + 0.5
    ):
        dec = number * dec_step / 60.0
        if abs(dec) < 90.0:
            dec_lines.append(
                _line(plane, dec_label(number * dec_step, dec_step), ras, np.full(ras.shape, dec))
            )
    return [x for x in ra_lines if x is not None], [x for x in dec_lines if x is not None]


def _step(steps: tuple[int, ...], wanted: float) -> int:
    return next((step for step in steps if step >= wanted), steps[-1])


def _line(plane: ChartPlane, label: str, ra: Floats, dec: Floats) -> GridLine | None:
    points = plane.xy(ra, dec)
    half = plane.half_deg
    inside = np.all(np.abs(points) <= half, axis=1)
    if not inside.any():
        return None
    exits = {}
    for edge, axis, value in (
        ("bottom", 1, -half), ("left", 0, -half), ("top", 1, half), ("right", 0, half),
    ):  # fmt: skip
        across, along = points[:, axis] - value, points[:, 1 - axis]
        with np.errstate(invalid="ignore"):
            turns = np.flatnonzero(across[:-1] * across[1:] <= 0.0)
        for k in turns:
            span = across[k + 1] - across[k]
            share = 0.0 if span == 0.0 else -across[k] / span
            place = along[k] + share * (along[k + 1] - along[k])
            if abs(place) <= half and abs(across[k]) < half:
                exits[edge] = float(place)
                break
    near = np.flatnonzero(inside)
    cut = slice(max(near[0] - 1, 0), near[-1] + 2)
    return GridLine(label, points[cut], exits)


def ra_label(seconds: float, step_s: int) -> str:
    """Right ascension in hours, as fine as the step asks for."""
    whole = round(seconds) % 86_400
    hours, minutes, rest = whole // 3600, whole % 3600 // 60, whole % 60
    text = f"{hours}ʰ"
    if step_s < 3600:
        text += f"{minutes:02d}ᵐ"
    if step_s < 60:
        text += f"{rest:02d}ˢ"
    return text


def dec_label(arcmin: float, step_arcmin: int) -> str:
    """Declination in degrees and minutes, as fine as the step asks for."""
    whole = round(abs(arcmin))
    sign = "−" if arcmin < 0 else "+" if whole else ""
    text = f"{sign}{whole // 60}°"
    if step_arcmin % 60:
        text += f"{whole % 60:02d}′"
    return text
