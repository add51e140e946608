"""`nightplan follow`: work through the night with the folder into which the subs fall."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from nightplan.cli.common import NumberRange, common_options, doing, emit, file_option, load
from nightplan.cli.stopping import StoppedError


@click.command("follow")
@click.argument("folder", type=click.Path(path_type=Path))
@common_options
@file_option("--keep", words="The plan to begin with; else the one being followed, or tonight's.")
@file_option(
    "--save",
    words="Where the plan in force is kept. [default: nightplan-DATE.json beside the journal]",
)
@file_option("--sheet", words="Write the field sheet too, anew after each re-plan.")
@click.option(
    "--style",
    type=click.Choice(["day", "red", "print"]),
    default="red",
    show_default=True,
    help="Of the sheet.",
)
@click.option("--quick", is_flag=True, help="The sheet without what to do after clouds.")
@click.option(
    "--behind",
    type=NumberRange(1.0, 600.0),
    default=15.0,
    show_default=True,
    metavar="MIN",
    help="Re-plan when more shutter time than this is missing.",
)
@click.option(
    "--every",
    type=NumberRange(1.0, 3600.0),
    default=20.0,
    show_default=True,
    metavar="S",
    help="Look at the folder at least so often, where the disk tells of no new files.",
)
@click.option("--once", is_flag=True, help="Take what is there now, and end.")
@click.option(
    "--at", "rehearsed", metavar="TIME", help="Rehearse: begin at this time of the night."
)
@click.option(
    "--speed",
    type=NumberRange(1.0, 100_000.0),
    default=1.0,
    show_default=True,
    help="With --at: how much faster than the clock the night runs.",
)
def command(
    folder: Path,
    config_path: Path,
    evening: datetime.date | None,
    as_json: bool,
    keep: Path | None,
    save: Path | None,
    sheet: Path | None,
    style: str,
    quick: bool,
    behind: float,
    every: float,
    once: bool,
    rehearsed: str | None,
    speed: float,
) -> None:
    """Watch FOLDER, take each finished sub into the journal, and say what is next and when.

    Compares what was shot with the plan in force. When too much is missing (clouds, a late start)
    the rest of the night is planned anew, its plan kept and the sheet rewritten. Ctrl-C ends it;
    started again it goes on where it was. The files are only read.

    \b
    Examples:
        nightplan follow D:/captures/tonight --sheet tonight.html
        nightplan follow captures --once
    """  # fmt: skip
    from nightplan.errors import FileError
    from nightplan.files import check_ending
    from nightplan.library.following import Follower, plan_file_of
    from nightplan.library.inputs import evening_of
    from nightplan.library.watching import NightTime, follow_night

    if not folder.is_dir():
        raise FileError(folder, "is not a folder" if folder.exists() else "no such folder")
    if sheet is not None:
        check_ending(sheet, "a sheet", (".html", ".htm"))
    config = load(config_path)
    day = evening_of(config.site, evening)
    clock = NightTime.rehearsed(config.site, day, rehearsed, speed)
    with doing("plan of the night") as say:
        follower = Follower(
            config,
            folder,
            day,
            save or plan_file_of(config, day),
            keep=keep,
            sheet=sheet,
            style=style,  # type: ignore[arg-type]
            quick=quick,
            behind_min=behind,
            say=say,
        )
    # With --json standard output holds the one document at the end.
    followed = follow_night(
        follower,
        clock,
        (lambda line: None) if as_json else click.echo,
        every_s=every,
        once=once,
        stopped_by=(KeyboardInterrupt, StoppedError),
    )
    emit(followed.document, as_json, lambda: str(followed))
