"""`nightplan collect`: take what was shot into the journal."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from nightplan.cli.common import config_option, counting, date_option, emit, json_option, load


@click.command("collect")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
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
@click.option(
    "--ticks",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Take what was ticked off on the field sheet; files that come later replace it.",
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
    evening: str | None,
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
    if ticks is not None:
        _collect_ticks(config_path, as_json, folder, ticks)
        return
    if folder is None:
        raise click.UsageError("Missing argument 'FOLDER'.")
    from nightplan.journal.fits_import import Instructions, Verdict
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.framing.camera_angle import check_position_angle
    from nightplan.planning.photons.sub_worth import collect_and_weigh
    from nightplan.report.documents.collect import collect_document
    from nightplan.report.texts.collect_text import collect_text

    if reason is not None and (accept or weight is not None):
        raise click.UsageError("--reject goes with neither --accept nor --weight")
    config = load(config_path)
    verdict = Verdict(
        accepted=reason is None,
        reason=reason or "",
        weight=1.0 if weight is None else weight,
        given=reason is not None or accept or weight is not None,
        overrule=accept,
    )
    told = Instructions(
        target=target,
        panel=panel,
        train=train,
        filter=filter_name,
        verdict=verdict,
        assume_light=assume_light,
        position_angle_deg=None if angle is None else check_position_angle(angle),
    )
    with counting("reading headers") as show:
        collected, gathered, notices = collect_and_weigh(
            config, catalog_for(config), folder, told, show, torn_down=torn_down
        )
    document = collect_document(str(folder), collected, gathered, notices)
    emit(document, as_json, lambda: collect_text(document))


def _collect_ticks(config_path: Path, as_json: bool, folder: Path | None, ticks: Path) -> None:
    from nightplan.library.collecting import collect_ticks

    if folder is not None:
        raise click.UsageError("--ticks FILE goes without FOLDER")
    gathering = collect_ticks(load(config_path), ticks)
    emit(gathering.document, as_json, lambda: str(gathering))


def _check_journal(
    config_path: Path, as_json: bool, folder: Path | None, check: bool, restore: bool, reseal: bool
) -> None:
    from nightplan.errors import FileError
    from nightplan.library.journal_check import check_journal

    if not check or folder is not None or (restore and reseal):
        raise click.UsageError(
            "--restore or --reseal, one of them, goes with --check; FOLDER does not."
        )
    answer = check_journal(load(config_path), restore=restore, reseal=reseal)
    emit(answer.document, as_json, lambda: str(answer))
    if not answer.sound:
        raise FileError(answer.document.journal.file, "is faulty; see above for what to do")
