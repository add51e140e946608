"""`nightplan pick`: which targets are worth this night."""

from __future__ import annotations

from pathlib import Path

import click

from nightplan.cli.common import (
    NumberRange,
    common_options,
    doing,
    emit,
    evening_of,
    load,
    load_sites,
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
    evening: str | None,
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
        _all_sites(config_path, evening, as_json, count)
        return
    from nightplan.library.earlier import remembered
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.choosing.selection import rank_targets
    from nightplan.planning.choosing.wishes import Wishes
    from nightplan.planning.tonight.limits import planned_night
    from nightplan.report.documents.pick import pick_document
    from nightplan.report.texts.pick_text import pick_text

    journal = remembered(load(config_path))
    config = journal.config
    night = planned_night(config, evening_of(config.site, evening))
    wishes = Wishes(
        kinds=kinds,
        constellations=constellations,
        larger_arcmin=larger_arcmin,
        smaller_arcmin=smaller_arcmin,
        brighter_mag=brighter_mag,
        names=names,
    )
    with doing("ranking the catalogue"):
        ranking = rank_targets(
            config,
            night,
            catalog_for(config),
            wishes,
            most=count,
            gathered_h=journal.earlier.by_filter(),
        )
    document = pick_document(night, ranking, count)
    emit(document, as_json, lambda: pick_text(document, config.site, full=full))


def _all_sites(config_path: Path, evening: str | None, as_json: bool, count: int) -> None:
    from nightplan.library.earlier import remembered
    from nightplan.model.own_targets import catalog_for
    from nightplan.planning.choosing.where_tonight import targets_by_site
    from nightplan.report.documents.night import sites_document
    from nightplan.report.texts.sites_text import sites_text

    journals = [remembered(config) for config in load_sites(config_path)]
    configs = [journal.config for journal in journals]
    first = configs[0]
    with doing("ranking the catalogue") as say:
        found = targets_by_site(
            configs,
            evening_of(first.site, evening),
            catalog_for(first),
            count,
            journals[0].earlier.by_filter(),
            lambda site: say(f"ranking the catalogue at {site}"),
        )
    document = sites_document(found, first.site.name, ranked=True)
    zones = [one.config.site.zone for one in found]
    emit(document, as_json, lambda: sites_text(document, zones))
