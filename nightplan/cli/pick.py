"""`nightplan pick`: which targets are worth this night."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from nightplan.cli.common import (
    NumberRange,
    common_options,
    doing,
    load,
    load_for_all_sites,
    show,
)

SIZE = NumberRange(0.0, 10800.0)
MAGNITUDE = NumberRange(-30.0, 40.0)


@click.command("pick")
@common_options
@click.option("--count", default=15, show_default=True, type=click.IntRange(1, 500), metavar="N")
@click.option("--kind", "kinds", multiple=True, metavar="KIND", help="Only this kind; repeatable.")
@click.option("--constellation", "constellations", multiple=True, metavar="ABC")
@click.option("--larger", "larger_arcmin", type=SIZE, metavar="ARCMIN", help="At least this long.")
@click.option("--smaller", "smaller_arcmin", type=SIZE, metavar="ARCMIN", help="At most this.")
@click.option("--brighter", "brighter_mag", type=MAGNITUDE, metavar="MAG", help="Total magnitude.")
@click.option("--only", "names", multiple=True, metavar="NAME", help="Rank only these; repeatable.")
@click.option("--all-sites", is_flag=True, help="Compare what every site of the file brings.")
@click.option(
    "--full",
    "--why",
    "full",
    is_flag=True,
    help="The whole list, and for each target why it ranks where it does.",
)
def command(
    config_path: Path,
    evening: datetime.date | None,
    as_json: bool,
    count: int,
    kinds: tuple[str, ...],
    constellations: tuple[str, ...],
    larger_arcmin: float | None,
    smaller_arcmin: float | None,
    brighter_mag: float | None,
    names: tuple[str, ...],
    all_sites: bool,
    full: bool,
) -> None:
    """Rank the catalogue for this site, night, moon and rig, best first.

    The score is the product of its parts, each from 0 to 1: the share of the window that is
    usable and what it is worth under this moon, how the target fills the field of its best
    train, and how it stands out of the sky.

    \b
    Examples:
        nightplan pick --date 2027-10-06 --full
        nightplan pick --kind galaxy --larger 10
        nightplan pick --all-sites --count 3
    """
    if all_sites:
        from nightplan.library import targets_by_site

        config = load_for_all_sites(config_path)
        with doing("ranking the catalogue") as say:
            sites = targets_by_site(
                config,
                evening,
                count=count,
                on_site=lambda site: say(f"ranking the catalogue at {site}"),
            )
        show(sites, as_json)
        return
    from nightplan.library.picking import rank

    config = load(config_path)
    with doing("ranking the catalogue"):
        ranked = rank(
            config,
            evening,
            count=count,
            kinds=kinds,
            constellations=constellations,
            larger=None if larger_arcmin is None else f"{larger_arcmin} arcmin",
            smaller=None if smaller_arcmin is None else f"{smaller_arcmin} arcmin",
            brighter=None if brighter_mag is None else f"{brighter_mag} mag",
            only=names,
        )
    show(ranked, as_json, full=full)
