"""What all commands share: the options, the loaded configuration, and the way to print."""

from __future__ import annotations

import datetime
import math
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from nightplan.errors import InputError

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.site import Site
    from nightplan.report.documents.base import Document

F = TypeVar("F", bound=Callable[..., Any])

EARLIEST = datetime.date(1900, 1, 1)
LATEST = datetime.date(2199, 12, 30)


def config_option(command: F) -> F:
    """Add `--config FILE`, and which rig and site of the file are meant."""
    for key in ("site", "rig"):
        command = click.option(
            f"--{key}",
            metavar="NAME",
            expose_value=False,
            callback=_keep,
            help=f"The {key} of the file to use. [default: preferences.{key}, else the first]",
        )(command)
    return click.option(
        "--config",
        "config_path",
        type=click.Path(path_type=Path),
        default=Path("nightplan.toml"),
        show_default=True,
        metavar="FILE",
        help="The configuration file.",
    )(command)


DATE_HELP = "Civil date at the site's noon before the night. [default: the night that holds now]"


def date_option(command: F, words: str = DATE_HELP) -> F:
    """Add `--date YYYY-MM-DD`; `words` say what it does where that is something else."""
    return click.option("--date", "evening", metavar="YYYY-MM-DD", help=words)(command)


def json_option(command: F) -> F:
    """Add `--json`."""
    return click.option(
        "--json", "as_json", is_flag=True, help="Print one JSON document instead of text."
    )(command)


def common_options(command: F) -> F:
    """Add the options that every command takes."""
    return config_option(date_option(json_option(command)))


def _keep(context: click.Context, option: click.Parameter, value: str | None) -> None:
    context.meta[f"nightplan.{option.name}"] = value


def load(config_path: Path) -> Config:
    """Load the configuration that `--config` names, for the rig and site asked for."""
    from nightplan.model.config import load_config

    asked = click.get_current_context().meta
    return load_config(
        config_path, rig=asked.get("nightplan.rig"), site=asked.get("nightplan.site")
    )


def load_sites(config_path: Path) -> list[Config]:
    """The configuration at each of its sites, the first site first."""
    from nightplan.model.config import load_config
    from nightplan.model.other_site import MAIN, sites_of, with_site

    context = click.get_current_context()
    if context.meta.get("nightplan.site") is not None:
        raise click.UsageError("give --site or --all-sites, not both")
    config = load_config(config_path, rig=context.meta.get("nightplan.rig"), site=MAIN)
    return [with_site(config, name) for name in sites_of(config)]


def evening_of(site: Site, text: str | None) -> datetime.date:
    """The evening that `--date` names, or the one whose noon-to-noon holds now."""
    if text is None:
        from nightplan.planning.tonight.night import default_evening

        return default_evening(site, datetime.datetime.now(datetime.UTC))
    try:
        evening = datetime.date.fromisoformat(text)
    except ValueError:
        evening = None
    # fromisoformat takes 20271006 and 2027-W40-3 too
    if evening is None or evening.isoformat() != text or not EARLIEST <= evening <= LATEST:
        raise InputError("command line", "--date", text, f"YYYY-MM-DD from {EARLIEST} to {LATEST}")
    return evening


@contextmanager
def doing(words: str) -> Iterator[Callable[[str], None]]:
    """Say what takes more than a moment, on standard error and to a terminal only.

    Yields what to call with other words when the next step begins.
    """
    if not sys.stderr.isatty():
        yield lambda words: None
        return
    shown = 0

    def say(words: str) -> None:
        nonlocal shown
        wipe = "\r" + " " * shown + "\r" if shown else ""
        shown = len(words) + 4 if words else 0
        click.echo(wipe + (f"{words} ..." if words else ""), err=True, nl=False)

    say(words)
    try:
        yield say
    finally:
        say("")


@contextmanager
def counting(words: str) -> Iterator[Callable[[int, int], None] | None]:
    """Count what is done one by one, to a terminal only; yields ``show(number, count)``."""
    if not sys.stderr.isatty():
        yield None
        return
    with doing(words) as say:
        yield lambda number, count: say(f"{words}: {number} of {count}")


def emit(document: Document | list[Any], as_json: bool, text: Callable[[], str]) -> None:
    """Print a document as JSON, or the text made for people."""
    if as_json:
        if isinstance(document, list):
            import json

            rows = [item.model_dump(mode="json") for item in document]
            click.echo(json.dumps(rows, indent=2, ensure_ascii=False))
        else:
            click.echo(document.to_json(), nl=False)
    else:
        click.echo(text().rstrip("\n"))


class NumberRange(click.FloatRange):
    """A number within limits; not nan, which compares as within any."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value} is not in the range {self._describe_range()}.", param, ctx)
        return number
