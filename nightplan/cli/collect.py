"""`nightplan collect`: take what was shot into the journal."""

from __future__ import annotations

import datetime
from functools import partial
from pathlib import Path

import click

from nightplan.cli.common import (
    FILE,
    config_option,
    counting,
    date_option,
    file_option,
    json_option,
    load,
    show,
)


@click.command("collect")
@click.argument("folder", type=FILE, required=False)
@config_option
@partial(date_option, words="Taken as by every command, but of no effect: files hold their dates.")
@json_option
@click.option("--target", metavar="NAME", help="The target of all lights, whatever OBJECT says.")
@click.option("--panel", type=click.IntRange(1, 100), metavar="N", help="And their panel.")
@click.option("--train", metavar="NAME", help="The train, whatever FOCALLEN says.")
@click.option("--filter", "filter_name", metavar="NAME", help="The filter, whatever FILTER says.")
@click.option("--reject", "reason", metavar="REASON", help="None of these lights counts.")
@click.option("--accept", is_flag=True, help="All of them count, known ones too.")
@click.option("--weight", type=float, metavar="0..1", help="They count in part: haze, thin cloud.")
@click.option("--assume-light", is_flag=True, help="Read files without IMAGETYP as lights.")
@click.option("--angle", type=float, metavar="DEG", help="The camera's position angle, for flats.")
@click.option("--torn-down", is_flag=True, help="The camera has come off: flats are stale now.")
@file_option(
    "--ticks",
    words="Take what was ticked off on the field sheet; files that come later replace it.",
)
@click.option("--check", is_flag=True, help="Read all of the journal and its backups; no FOLDER.")
@click.option(
    "--restore",
    is_flag=True,
    help="With --check: the newest good backup takes a faulty journal's place; that is kept.",
)
@click.option(
    "--reseal",
    is_flag=True,
    help="With --check: take rows that were changed by hand on purpose; what was is kept.",
)
def command(
    folder: Path | None,
    config_path: Path,
    evening: datetime.date | None,
    as_json: bool,
    target: str | None,
    panel: int | None,
    train: str | None,
    filter_name: str | None,
    reason: str | None,
    accept: bool,
    weight: float | None,
    assume_light: bool,
    angle: float | None,
    torn_down: bool,
    ticks: Path | None,
    check: bool,
    restore: bool,
    reseal: bool,
) -> None:
    """Read the FITS headers under FOLDER and store what is new; the files are left as they are.

    Copies count once. Each light counts by its efficiency: what an hour under that sky, moon
    and altitude counts for, against one at the zenith with no moon. A verdict (--reject,
    --accept, --weight) holds for all lights in the folder, known ones too: put the bad ones in a
    folder of their own. A rejection stands until --accept takes it back.

    \b
    Examples:
        nightplan collect 2027-10-06
        nightplan collect 2027-10-06/cloudy --reject "clouds from 02:10"
        nightplan collect 2027-10-06/haze --weight 0.6
        nightplan collect --ticks ticks-2027-10-06.json
        nightplan collect --check
    """
    if check or restore or reseal:
        _check_journal(config_path, as_json, folder, check, restore, reseal)
        return
    if (folder is None) == (ticks is None):
        raise click.UsageError("give FOLDER, or --ticks FILE without it")
    from astropy import units as u

    from nightplan.library import collect, collect_ticks

    config = load(config_path)
    if ticks is not None:
        show(collect_ticks(config, ticks), as_json)
        return
    assert folder is not None
    with counting("reading headers") as count:
        gathering = collect(
            config,
            folder,
            target=target,
            panel=panel,
            train=train,
            filter_name=filter_name,
            reject=reason,
            accept=accept,
            weight=weight,
            assume_light=assume_light,
            angle=None if angle is None else angle * u.deg,
            torn_down=torn_down,
            on_step=count,
        )
    show(gathering, as_json)


def _check_journal(
    config_path: Path, as_json: bool, folder: Path | None, check: bool, restore: bool, reseal: bool
) -> None:
    from nightplan.errors import FileError
    from nightplan.library import check_journal

    if not check or folder is not None or (restore and reseal):
        raise click.UsageError(
            "--restore or --reseal, one of them, goes with --check; FOLDER does not."
        )
    answer = check_journal(load(config_path), restore=restore, reseal=reseal)
    show(answer, as_json)
    if not answer.sound:
        raise FileError(answer.document.journal.file, "is faulty; see above for what to do")
