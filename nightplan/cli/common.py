"""What all commands share: the options, the loaded configuration, and the way to print."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Sequence
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click
from click.core import ParameterSource

from nightplan.cli.screen import colour_option, counting, doing
from nightplan.dates import EARLIEST, LATEST
from nightplan.errors import InputError, NightplanError
from nightplan.numeric_guard import guarded_numbers

if TYPE_CHECKING:
    from nightplan.library.outputs import Answer
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.report.documents.base import Document

__all__ = ["counting", "doing"]

FILE = click.Path(path_type=Path)
F = TypeVar("F", bound=Callable[..., Any])


def _guarded(command: F) -> F:
    """The command with its numbers guarded; an argument that the library rejects is named as it
    was typed."""

    @wraps(command)
    def call(*args: Any, **kwargs: Any) -> Any:
        if click.get_current_context().invoked_subcommand is not None:
            return command(*args, **kwargs)  # of the group: a command that follows has its own
        try:
            with guarded_numbers():
                return command(*args, **kwargs)
        except NightplanError as error:
            if isinstance(error, InputError) and error.source == "library":
                typed, accepted = _option(error.key), error.accepted.removesuffix(", or None")
                raise InputError("command line", typed, error.value, accepted) from error
            from nightplan.report.wording.printed_command import with_config

            # The commands that a message names are to run as printed.
            line = with_config(str(error), given_config(click.get_current_context()))
            if line == str(error):
                raise
            raise NightplanError(line) from error

    return call  # type: ignore[return-value]


def _option(key: str) -> str:
    """The option or argument of the command in work that stands for a parameter."""
    for param in click.get_current_context().command.params:
        if key == param.name or f"--{key.replace('_', '-')}" in param.opts:
            return param.opts[0] if isinstance(param, click.Option) else param.human_readable_name
    return f"--{key.replace('_', '-')}"


def config_option(command: F) -> F:
    """Add `--config FILE`, and which rig and site of the file are meant; guard the command."""
    command = _guarded(command)
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
        type=FILE,
        default=Path("nightplan.toml"),
        show_default=True,
        metavar="FILE",
        help="The configuration file.",
    )(command)


DATE_HELP = "Civil date at the site's noon before the night. [default: the night that holds now]"


class Evening(click.ParamType):
    """An evening as it is typed."""

    name = "date"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> datetime.date:
        try:
            evening = datetime.date.fromisoformat(value)
        except ValueError:
            evening = None
        # fromisoformat takes 20271006 and 2027-W40-3 too
        if evening is None or evening.isoformat() != value or not EARLIEST <= evening <= LATEST:
            accepted = f"YYYY-MM-DD from {EARLIEST} to {LATEST}{_meant(value)}"
            raise InputError("command line", "--date", value, accepted)
        return evening


def date_option(command: F, words: str = DATE_HELP) -> F:
    """Add `--date YYYY-MM-DD`; `words` say what it does where that is something else."""
    option = click.option("--date", "evening", type=Evening(), metavar="YYYY-MM-DD", help=words)
    return option(command)


def file_option(*names: str, words: str, **more: Any) -> Callable[[F], F]:
    """An option that names a file."""
    return click.option(*names, type=FILE, metavar="FILE", help=words, **more)


def json_option(command: F) -> F:
    """Add `--json`, and `--color` for the text that it stands for."""
    command = colour_option(command)
    return click.option(
        "--json", "as_json", is_flag=True, help="Print one JSON document instead of text."
    )(command)


def picture_options(command: F) -> F:
    """Add `--style` and `--narrow`, which every picture takes."""
    command = click.option(
        "--narrow", is_flag=True, help="Lay the picture out for a phone held upright."
    )(command)
    return click.option(
        "--style",
        metavar="NAME",
        default="day",
        show_default=True,
        help="Colours of the picture: day, dark, red or print.",
    )(command)


def full_option(command: F, words: str = "All figures, with their sources.") -> F:
    """Add `--full`."""
    return click.option("--full", is_flag=True, help=words)(command)


def check_picture(path: Path | None, style: str) -> None:
    """Refuse a file name that is no picture's, and an unknown style, before any work is done."""
    from nightplan.report.looks.palettes import STYLES
    from nightplan.report.looks.style import picture_format

    if path is not None:
        picture_format(path)
    if style not in STYLES:
        raise InputError("command line", "--style", style, "one of " + ", ".join(STYLES))


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


def load_for_all_sites(config_path: Path) -> Config:
    """The same where all sites are asked for, so that none may be named."""
    if click.get_current_context().meta.get("nightplan.site") is not None:
        raise click.UsageError("give --site or --all-sites, not both")
    return load(config_path)


def _meant(text: str) -> str:
    """The right form of a date that is written another way: ``; perhaps 2027-10-06``."""
    import re

    numbers = [int(part) for part in re.findall(r"\d+", text)]
    if len(text) == 8 and text.isdigit():
        numbers = [int(text[:4]), int(text[4:6]), int(text[6:])]
    if len(numbers) != 3:
        return ""
    first, second, third = numbers
    # Year first, or day first; with strokes the month may lead as well.
    orders = [(first, second, third)] if first > 31 else [(third, second, first)]
    if "/" in text and first <= 31:
        orders.append((third, first, second))
    found: list[str] = []
    for year, month, day in orders:
        try:
            date = datetime.date(year, month, day)
        except ValueError:
            continue
        if EARLIEST <= date <= LATEST and date.isoformat() not in found:
            found.append(date.isoformat())
    return f"; perhaps {' or '.join(found)}" if found else ""


def emit(document: Document | list[Any], as_json: bool, text: Callable[[], str]) -> None:
    """Print a document as JSON, or the text made for people."""
    if as_json:
        from nightplan.report.documents.base import json_text

        if isinstance(document, list):
            shown = json_text([item.model_dump(mode="json") for item in document])
        else:
            shown = document.to_json()
        click.echo(shown, nl=False)
    else:
        from nightplan.report.wording.printed_command import with_config
        from nightplan.report.wording.screen import escaped_but_styles

        shown = with_config(text().rstrip("\n"), given_config(click.get_current_context()))
        click.echo(escaped_but_styles(shown))


def given_config(context: click.Context) -> str | None:
    """The file that `--config` gave; None where it was left to its default."""
    given = context.get_parameter_source("config_path") is ParameterSource.COMMANDLINE
    return str(context.params["config_path"]) if given else None


def show(answer: Answer, as_json: bool, *, full: bool = False) -> None:
    """Print what the library answered, as JSON or as text."""
    emit(answer.document, as_json, lambda: answer.text(full=full))


def wrote(as_json: bool, *paths: Path | None) -> None:
    """Name the files that were written, beside the text; JSON leaves standard output alone."""
    for path in paths:
        if path is not None and not as_json:
            click.echo(f"Written: {path}")


class NumberRange(click.FloatRange):
    """A number within limits; not nan, which compares as within any."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value} is not in the range {self._describe_range()}.", param, ctx)
        return number


def typed_names(config: Config, words: Sequence[str]) -> list[str]:
    """Names of the targets that words mean, as the catalogue spells them.

    Words that a shell has parted are joined: ``M 33`` need not be quoted. Where a name might
    mean another target as well, that is said on standard error.

    Raises
    ------
    nightplan.errors.TargetError
        A name is unknown or fits several targets.
    """
    from nightplan.model.name_index import join_words
    from nightplan.model.own_targets import catalog_for

    if not words:
        return []
    catalog = catalog_for(config)
    return [str(catalog.name[_row(catalog, text)]) for text in join_words(words, catalog.names)]


def typed_name(config: Config, words: Sequence[str]) -> str:
    """The one target that words mean together; as `typed_names`."""
    from nightplan.model.own_targets import catalog_for

    catalog = catalog_for(config)
    return str(catalog.name[_row(catalog, " ".join(words))])


def _row(catalog: Catalog, text: str) -> int:
    found = catalog.names.meaning(text)
    if found.others:
        click.echo(catalog.names.taken_as(text, found), err=True)
    return found.row


from_option = click.option(
    "--from",
    "start",
    metavar="TIME",
    help="Plan anew from this time on: now, 23:40 at the site, 23:40+01:00, or ISO 8601.",
)
keep_option = file_option(
    "--keep", words="The JSON of the plan in force; with --from, what it held before is kept."
)
done_option = click.option(
    "--done",
    multiple=True,
    metavar="[TARGET:]FILTER=COUNT",
    help="With --from: subs really shot before, more or less than planned; repeatable.",
)
save_option = file_option(
    "--save", words="Write the plan's JSON too: the plan in force, for --keep."
)
