"""From a night's plan to its field sheet: documents, charts and plot put together."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from nightplan.report.plots.night_picture import roles_of
from nightplan.report.sheet.render_sheet import SheetStyle, render_sheet
from nightplan.report.sheet.sheet_charts import framing_chart, night_charts
from nightplan.report.sheet.sheet_facts import SheetSite
from nightplan.report.wording.printed_command import command, replan_command

if TYPE_CHECKING:
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.planning.tonights_plan.plan import NightPlan

Step = Callable[[str], None]


def sheet_of_plan(
    plan: NightPlan,
    catalog: Catalog,
    document: Mapping[str, Any],
    *,
    style: SheetStyle = "day",
    calibration_owed: Sequence[Mapping[str, Any]] = (),
    kept_in: str | os.PathLike[str] | None = None,
    losses: Sequence[Mapping[str, Any]] = (),
    on_step: Step | None = None,
) -> str:
    """The field sheet of a plan, a self-contained HTML document with charts and the altitude plot.

    `document` is the plan's, as it was solved or kept in the file `kept_in`; `catalog` names the
    charts' neighbours. `calibration_owed` as of `render_sheet`, `losses` as of
    `nightplan.library.losses.solved_losses`; `on_step` is given what is being worked on.
    """
    from nightplan.model.star_catalog import STAR_CREDIT
    from nightplan.planning.choosing.frame_answer import frame_answer
    from nightplan.report.documents.frame import frame_document
    from nightplan.report.documents.night import night_document
    from nightplan.report.plots.plan_picture import picture_of_plan

    say = on_step or _silent
    config = plan.config
    frames: dict[str, dict[str, Any]] = {}
    charts: dict[str, str] = {}
    # Without a window nothing is framed for tonight.
    for target in plan.targets if plan.night.window_utc_mjd is not None else ():
        say(f"framing chart of {target.name}")
        framing = plan.framing(target.name)
        answer = frame_answer(
            config,
            plan.night,
            target,
            catalog,
            train=framing.train,
            angle_deg=framing.position_angle_deg,
        )
        frames[target.name] = frame_document(answer).model_dump(mode="json")
        # The angle was given to it here; why it was chosen is the plan's to say.
        frames[target.name]["reason"] = framing.reason
        charts[target.name] = framing_chart(config, target, answer, catalog, style)
    wide = narrow = None
    if plan.night.window_utc_mjd is not None:
        say("plot of the night")
        wide, narrow = night_charts(picture_of_plan(plan, document), style)
    return render_sheet(
        night_document(plan.night).model_dump(mode="json"),
        document,
        frames,
        site=sheet_site(config),
        replan=replan_command(document, config, kept_in),
        losses=losses,
        calibration_owed=calibration_owed,
        charts=charts,
        night_chart=wide,
        night_chart_narrow=narrow,
        chart_credit=STAR_CREDIT if charts else "",
        style=style,
    )


def sheet_site(config: Config) -> SheetSite:
    """What the sheet says of site and rig, from a configuration."""
    power = config.power
    return SheetSite(
        timezone=config.site.timezone,
        filter_roles=roles_of(config),
        latitude_deg=config.site.latitude_deg,
        longitude_deg=config.site.longitude_deg,
        elevation_m=config.site.elevation_m,
        sensor_temperature_c=config.camera.sensor_temperature_c,
        battery_wh=None if power is None else power.battery_wh,
        reserve_share=0.0 if power is None else power.reserve_share,
        draw_w=None if power is None else power.whole_draw_w,
        collect=command("collect", config, "--ticks", "FILE"),
        resume_min=config.mount.slew_centre_min + config.focuser.run_min,
    )


def _silent(words: str) -> None:
    pass
