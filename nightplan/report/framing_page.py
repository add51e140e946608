"""A page to turn the camera on: one HTML file, no server, nothing to fetch."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING, Any

import numpy as np

from nightplan.errors import InputError
from nightplan.planning.framing.angle_sweep import AngleSweep, stars_around, sweep_angles
from nightplan.planning.framing.outlines import shape_of
from nightplan.report.page_files import json_for_html, page_file, script_hash
from nightplan.report.sheet_style import PAPER_COLOURS, SHEET_COLOURS, SHEET_STYLES, SheetStyle
from nightplan.report.words import number, percent
from nightplan.sky.tangent_plane import project

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.star_catalog import Stars
    from nightplan.model.target import Target
    from nightplan.planning.choosing.frame_answer import FrameAnswer

ARCMIN = 60.0 * np.degrees(1.0)
MOST_STARS = 900
OUTLINE_POINTS = 72
BARS_ARCMIN = (2, 5, 10, 20, 30, 60, 120)


def framing_page(
    config: Config, target: Target, answer: FrameAnswer, *, style: SheetStyle = "day"
) -> str:
    """Write a page on which trains are switched and the camera is turned by whole degrees.

    Coverage, margin and the guider's outlook come from the same functions as ``nightplan frame``
    for a single field; the page looks them up and lays the guider's patch over the stars.

    Parameters
    ----------
    config, target
        The rig and what is framed.
    answer : FrameAnswer
        From `nightplan.planning.choosing.frame_answer.frame_answer`: where the page begins.
    style : str
        ``"day"``, ``"red"`` or ``"print"``.

    Raises
    ------
    nightplan.errors.InputError
        `style` is another word.
    nightplan.errors.FileError
        The user's star file cannot be used.
    """
    if style not in SHEET_STYLES:
        raise InputError("page", "style", style, "one of " + ", ".join(SHEET_STYLES))
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    from nightplan.model.star_catalog import STAR_CREDIT, star_catalog

    catalog = star_catalog(config)
    fits = answer.ranking.fits
    sweeps = [sweep_angles(config, target, fit.train, catalog) for fit in fits]
    limit = 10.0 if config.guider is None else config.guider.limit_magnitude
    stars = stars_around(sweeps, target, catalog, max(limit, 10.0))
    framing = answer.framing
    angle = round(framing.position_angle_deg) % 180
    page = {
        "title": target.label,
        "reason": answer.reason,
        "angle": angle,
        "guider": config.guider is not None,
        "credit": STAR_CREDIT,
        "trains": [
            {
                "name": fit.train,
                "chosen": fit.train == framing.train,
                "angle": f"{number(fit.framing.position_angle_deg)}° "
                f"± {number(fit.framing.position_angle_tolerance_deg)}°",
                "panels": len(fit.framing.panels),
                "covered": percent(fit.framing.coverage),
                "margin": f"{number(fit.framing.margin_arcmin)}′".replace("-", "−"),
            }
            for fit in fits
        ],
    }
    script = page_file("framing.js")
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(page_file("framing.html")).render(
        page=page,
        style=style,
        colours=SHEET_COLOURS[style],
        print_colours=PAPER_COLOURS[style],
        css=Markup(page_file("sheet.css") + page_file("framing.css")),
        script=Markup(script),
        script_hash=script_hash(script),
        data=Markup(json_for_html(_data(config, target, sweeps, stars, limit))),
    )


def _data(
    config: Config, target: Target, sweeps: list[AngleSweep], stars: Stars, limit: float
) -> dict[str, Any]:
    """All the page's figures; lengths in minutes of arc in the target's tangent plane."""
    xi, eta = project(stars.ra_deg, stars.dec_deg, target.ra_deg, target.dec_deg)
    corner = max(float(np.hypot(s.half_long, s.half_short)) for s in sweeps)
    patch = max(
        (float(np.hypot(s.patch.offset + s.patch.height / 2, s.patch.width / 2))
         for s in sweeps if s.patch is not None), default=0.0,
    )  # fmt: skip
    half = 1.06 * max(corner, patch) * ARCMIN
    bar = max(b for b in BARS_ARCMIN if b <= max(0.5 * half, BARS_ARCMIN[0]))
    keep = np.arange(min(len(stars), MOST_STARS))
    return {
        "half": round(half, 2),
        "bar": bar,
        "limit": limit,
        "wanted": config.preferences.margin_arcmin,
        "command": f"nightplan frame {shlex.quote(target.name)} --train TRAIN --angle ANGLE "
        f"--record{_config_option(config)}",
        "outlines": [_outline(polygon) for polygon in shape_of(target).polygons],
        "stars": [
            [round(float(xi[i]) * ARCMIN, 3), round(float(eta[i]) * ARCMIN, 3),
             round(float(stars.g_mag[i]), 2)]
            for i in keep
        ],
        "trains": [_train(target, sweep) for sweep in sweeps],
    }  # fmt: skip


def _config_option(config: Config) -> str:
    name = config.path.name
    return "" if name == "nightplan.toml" else f" --config {shlex.quote(name)}"


def _outline(polygon: Any) -> list[list[float]]:
    every = max(1, len(polygon) // OUTLINE_POINTS)
    return [[round(float(v) * ARCMIN, 2) for v in point] for point in polygon[::every]]


def _train(target: Target, sweep: AngleSweep) -> dict[str, Any]:
    xi, eta = project(sweep.ra_deg, sweep.dec_deg, target.ra_deg, target.dec_deg)
    train: dict[str, Any] = {
        "name": sweep.train,
        "word": shlex.quote(sweep.train),
        "along": round(sweep.half_long * ARCMIN, 3),
        "across": round(sweep.half_short * ARCMIN, 3),
        "centre": [
            [round(float(x) * ARCMIN, 3), round(float(y) * ARCMIN, 3)]
            for x, y in zip(xi, eta, strict=True)
        ],
        "coverage": [round(float(v), 5) for v in sweep.coverage],
        "margin": [round(float(v), 2) for v in sweep.margin_arcmin],
        "up": [round(float(v), 2) for v in sweep.image_up_angle_deg],
    }
    if sweep.patch is not None:
        train |= {
            "patch": {
                "offset": round(sweep.patch.offset * ARCMIN, 4),
                "width": round(sweep.patch.width * ARCMIN, 4),
                "height": round(sweep.patch.height * ARCMIN, 4),
            },
            "before": [round(float(v), 2) for v in sweep.before_deg],
            "after": [round(float(v), 2) for v in sweep.after_deg],
            "fainter": {
                "before": [round(float(v), 2) for v in sweep.fainter_before],
                "after": [round(float(v), 2) for v in sweep.fainter_after],
            },
        }
    return train
