"""A page to turn the camera on: one HTML file, no server, nothing to fetch."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from nightplan.errors import InputError
from nightplan.number_forms import number, percent
from nightplan.planning.framing.angle_sweep import AngleSweep, stars_around, sweep_angles
from nightplan.planning.framing.outlines import shape_of
from nightplan.report.page.page_style import (
    PAPER_COLOURS,
    SHEET_COLOURS,
    SHEET_STYLES,
    SheetStyle,
    json_for_html,
    page_file,
    script_hash,
)
from nightplan.report.wording.printed_command import command, quoted
from nightplan.report.wording.words import angle_range
from nightplan.sky.angles import wrap_180_deg
from nightplan.sky.tangent_plane import direction_angle_deg, project

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.star_catalog import Stars
    from nightplan.model.target import Target
    from nightplan.planning.choosing.frame_answer import FrameAnswer

ARCMIN = 60.0 * np.degrees(1.0)
DRAWN_STARS = 900
OUTLINE_POINTS = 72
BARS_ARCMIN = (2, 5, 10, 20, 30, 60, 120)


def framing_page(
    config: Config,
    target: Target,
    answer: FrameAnswer,
    *,
    style: SheetStyle = "day",
    flats_angles: Mapping[str, Sequence[float]] | None = None,
) -> str:
    """Write a page with a dial: trains are switched, the camera is turned and the field shifted.

    At whole degrees fields or panels, share in frame, margin and the guider's outlook come from
    the same functions as ``nightplan frame --angle``. Between them, and for a shifted field, the
    page turns and clips by itself. It begins with `answer`; `flats_angles` are position angles in
    degrees, by train, whose flats still hold. Raises InputError for a style that is none of day,
    red and print, FileError where the user's star file cannot be used.
    """
    if style not in SHEET_STYLES:
        raise InputError("page", "style", style, "one of " + ", ".join(SHEET_STYLES))
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    from nightplan.model.star_catalog import star_catalog

    catalog = star_catalog(config)
    fits = answer.ranking.fits
    sweeps = [sweep_angles(config, target, fit.train, catalog) for fit in fits]
    limit = 10.0 if config.guider is None else config.guider.limit_magnitude
    stars = stars_around(sweeps, target, catalog, max(limit, 10.0))
    angle = round(answer.framing.position_angle_deg) % 180
    data = _data(config, target, sweeps, stars, limit)
    data["best"] = angle
    for train in data["trains"]:
        flats = (flats_angles or {}).get(train["name"], ())
        train["flats"] = [round(float(flat), 2) for flat in flats]
    script = page_file("framing.js")
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(page_file("framing.html")).render(
        page=_words(config, target, answer, angle),
        style=style,
        colours=SHEET_COLOURS[style],
        print_colours=PAPER_COLOURS[style],
        css=Markup(page_file("sheet.css") + page_file("framing.css")),
        script=Markup(script),
        script_hash=script_hash(script),
        data=Markup(json_for_html(data)),
    )


def _words(config: Config, target: Target, answer: FrameAnswer, angle: int) -> dict[str, Any]:
    """What the page says before its script runs."""
    from nightplan.model.star_catalog import STAR_CREDIT

    return {
        "title": target.label,
        "reason": answer.reason,
        "angle": angle,
        "guider": config.guider is not None,
        "credit": STAR_CREDIT,
        "trains": [
            {
                "name": fit.train,
                "chosen": fit.train == answer.framing.train,
                "angle": angle_range(
                    fit.framing.position_angle_deg, fit.framing.position_angle_tolerance_deg
                ),
                "panels": len(fit.framing.panels),
                "covered": percent(fit.framing.coverage),
                "margin": f"{number(fit.framing.margin_arcmin)}′",
            }
            for fit in answer.ranking.fits
        ],
    }


def _data(
    config: Config, target: Target, sweeps: list[AngleSweep], stars: Stars, limit: float
) -> dict[str, Any]:
    """All the page's figures; lengths in minutes of arc in the target's tangent plane."""
    xi, eta = project(stars.ra_deg, stars.dec_deg, target.ra_deg, target.dec_deg)
    half = 1.06 * max(_reach(target, sweep) for sweep in sweeps) * ARCMIN
    bar = max(b for b in BARS_ARCMIN if b <= max(0.5 * half, BARS_ARCMIN[0]))
    return {
        "half": round(half, 2),
        "bar": bar,
        "limit": limit,
        "drawn": DRAWN_STARS,
        "wanted": config.preferences.margin_arcmin,
        "ra": round(target.ra_deg, 6),
        "dec": round(target.dec_deg, 6),
        "arcmin": ARCMIN,
        "flats_within": config.calibration.flat_angle_tolerance_deg,
        "command": command(
            "frame", config, target.name, "--train", "TRAIN", "--angle", "ANGLE", "--record"
        ),
        "outlines": [_outline(polygon) for polygon in shape_of(target).polygons],
        "stars": [
            [round(float(xi[i]) * ARCMIN, 3), round(float(eta[i]) * ARCMIN, 3),
             round(float(stars.g_mag[i]), 2)]
            for i in range(len(stars))
        ],
        "trains": [_train(target, sweep) for sweep in sweeps],
    }  # fmt: skip


def _reach(target: Target, sweep: AngleSweep) -> float:
    """How far fields and patches reach from the target, as a tangent."""
    far = float(np.hypot(sweep.half_long, sweep.half_short))
    if sweep.patch is not None:
        patch = sweep.patch
        far = max(far, float(np.hypot(patch.offset + patch.height / 2, patch.width / 2)))
    xi, eta = project(sweep.ra_deg, sweep.dec_deg, target.ra_deg, target.dec_deg)
    return far + float(np.max(np.hypot(xi, eta)))


def _outline(polygon: Any) -> list[list[float]]:
    every = max(1, len(polygon) // OUTLINE_POINTS)
    return [[round(float(v) * ARCMIN, 2) for v in point] for point in polygon[::every]]


def _train(target: Target, sweep: AngleSweep) -> dict[str, Any]:
    """One train: its fields by angle as [x, y, direction of the long side], and with a guider
    [direction to the patch before the meridian, after it, fainter stars there, and there]."""
    centre = target.ra_deg, target.dec_deg
    xi, eta = project(sweep.ra_deg, sweep.dec_deg, *centre)
    angle = sweep.position_angle_deg
    # Directions are those of the field's own north; on the page north is that of the target.
    turn = wrap_180_deg(direction_angle_deg(xi, eta, angle, *centre) - angle)
    columns = [xi * ARCMIN, eta * ARCMIN, angle - turn]
    train: dict[str, Any] = {
        "name": sweep.train,
        "word": quoted(sweep.train),
        "along": round(sweep.half_long * ARCMIN, 3),
        "across": round(sweep.half_short * ARCMIN, 3),
        "coverage": [round(float(v), 5) for v in sweep.coverage],
        "margin": [round(float(v), 2) for v in sweep.margin_arcmin],
        "up": [round(float(v), 2) for v in sweep.image_up_angle_deg],
        "grid": np.stack((sweep.columns, sweep.rows), axis=1).tolist(),
    }
    if sweep.patch is not None:
        train["patch"] = {
            "offset": round(sweep.patch.offset * ARCMIN, 4),
            "width": round(sweep.patch.width * ARCMIN, 4),
            "height": round(sweep.patch.height * ARCMIN, 4),
            "bright": round(sweep.bright_limit_mag, 2),
        }
        columns += [sweep.before_deg - turn, sweep.after_deg - turn]
        columns += [sweep.fainter_before, sweep.fainter_after]
    table = np.round(np.stack(columns, axis=1), 2).tolist()
    train["fields"] = [table[a:b] for a, b in itertools.pairwise(sweep.starts.tolist())]
    return train
