"""The field sheet: one HTML file for a phone in the dark and for paper, with nothing to fetch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from nightplan.errors import InputError
from nightplan.report.page.page_style import (
    PAPER_COLOURS,
    SHEET_COLOURS,
    SHEET_STYLES,
    SheetStyle,
    json_for_html,
    page_file,
    script_hash,
    sheet_looks,
)
from nightplan.report.sheet.sheet_content import sheet_content
from nightplan.report.sheet.sheet_facts import SheetSite
from nightplan.report.sheet.svg_embed import embed_svg, reds_as_variables

SCRIPTS = ("sheet_parts.js", "sheet_losses.js", "sheet.js")

__all__ = ["SHEET_STYLES", "SheetSite", "SheetStyle", "render_sheet"]


def render_sheet(
    night: Mapping[str, Any],
    plan: Mapping[str, Any],
    frames: Mapping[str, Mapping[str, Any]],
    *,
    site: SheetSite,
    calibration_owed: Sequence[Mapping[str, Any]] = (),
    charts: Mapping[str, str] | None = None,
    night_chart: str | None = None,
    night_chart_narrow: str | None = None,
    chart_credit: str = "",
    replan: str = "",
    losses: Sequence[Mapping[str, Any]] = (),
    style: SheetStyle = "day",
) -> str:
    """Write a night on one page of HTML.

    Parameters
    ----------
    night, plan : mapping
        Documents of ``night`` and ``plan`` (dumps of their pydantic models, or their JSON).
    frames : mapping
        Documents of ``frame`` by target; a target without one gets what the plan says of it.
    site : SheetSite
        Time zone, filter roles, battery, set-point.
    calibration_owed : sequence of mappings
        Rows with `kind` and `count`, and where they apply `filter, train, position_angle_deg,
        gain, sensor_temperature_c, sub_s, minutes, reason`.
    charts : mapping
        Framing charts by target, as SVG documents.
    night_chart, night_chart_narrow : str or None
        The night's altitude plot as SVG documents, for a page and for a phone.
    chart_credit : str
        Whose data the framing charts show; said at the foot.
    replan : str
        The command that plans the rest of the night anew.
    losses : sequence of mappings
        Solved losses, as of `nightplan.library.losses.solved_losses`.
    style : str
        ``"day"``, ``"red"`` (no green or blue light at all) or ``"print"`` (black on white).

    Returns
    -------
    str
        A self-contained HTML document: no script is needed to read it, no address is fetched.

    Raises
    ------
    nightplan.errors.InputError
        `style` is another word.
    """
    if style not in SHEET_STYLES:
        raise InputError("sheet", "style", style, "one of " + ", ".join(SHEET_STYLES))
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    looks = sheet_looks(site.filter_roles.values(), style)
    red = style == "red"
    levels: set[str] = set()

    def picture(text: str, prefix: str, title: str) -> Markup:
        svg = embed_svg(text, prefix, title, red_only=red)
        return Markup(reds_as_variables(svg, levels) if red else svg)

    names = list((charts or {}).items())
    embedded = {
        name: picture(text, f"f{i}-", f"Framing chart of {name}")
        for i, (name, text) in enumerate(names)
    }
    content = sheet_content(
        night,
        plan,
        frames,
        calibration_owed=calibration_owed,
        charts=embedded,
        site=site,
        looks=looks,
        credit=chart_credit,
        replan=replan,
        losses=losses,
    )
    chart_title = "Altitude of targets and moon through the night"
    script = "".join(map(page_file, SCRIPTS))
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    wide = None if night_chart is None else picture(night_chart, "n-", chart_title)
    narrow = night_chart_narrow
    narrow = None if narrow is None else picture(narrow, "p-", chart_title)
    lit = {level: f"--r{level}:#{level}0000;" for level in sorted(levels)}
    # On paper red on black turns into grey on white: as dark as it was bright.
    ink = {level: f"--r{level}:#{255 - int(level, 16):02x}" for level in sorted(levels)}
    return environment.from_string(page_file("sheet.html")).render(
        sheet=content,
        style=style,
        colours=SHEET_COLOURS[style],
        print_colours=PAPER_COLOURS[style],
        css=Markup(page_file("sheet.css")),
        script=Markup(script),
        script_hash=script_hash(script),
        data=Markup(json_for_html(content.script_data)),
        reds=Markup("".join(lit.values())),
        print_reds=Markup("".join(f"{text}{text[-2:] * 2};" for text in ink.values())),
        print_looks=list(sheet_looks(site.filter_roles.values(), "print").values()),
        night_chart=wide,
        night_chart_narrow=narrow,
    )
