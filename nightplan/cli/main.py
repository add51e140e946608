"""The `nightplan` command: finds the sub-command, turns errors into one line and an exit status."""

from __future__ import annotations

import datetime
import importlib
import os
import sys
import tempfile
import time
import traceback
from pathlib import Path

import click
from click.core import ParameterSource

from nightplan.cli.common import common_options
from nightplan.cli.screen import use_screen
from nightplan.cli.stopping import stop_behind
from nightplan.errors import FileError, InputError, NightplanError
from nightplan.files import reason_of
from nightplan.shown import one_line

DEBUG = "--debug"

COMMANDS = {
    "start": "eight questions about your site and rig, and the file that they make",
    "check": "read your configuration back in plain words, with what looks odd",
    "night": "the dark window, the twilights and the moon",
    "pick": "which targets are worth this night",
    "frame": "train, camera angle, panels and guide star for a target",
    "exposure": "what each filter collects, and the sub length",
    "plan": "the night's blocks of filters, with times and sub counts",
    "campaign": "which of the coming nights serve which target",
    "angle": "come back to a stored camera angle",
    "collect": "take what was shot into the journal",
    "season": "a target's useful hours over a year",
    "sheet": "the page to carry into the field",
    "follow": "work through the night: what was shot, what is next, and the rest planned anew",
    "review": "the morning after: planned against shot, and what is missing",
    "demo": "plan a night of the invented demo scenario",
}


class LateGroup(click.Group):
    """A group whose commands are imported when they are asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"nightplan.cli.{cmd_name}")
        command: click.Command = module.command
        if "_NIGHTPLAN_COMPLETE" in os.environ:
            from nightplan.cli.completion import complete_names

            complete_names(command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            import difflib

            near = difflib.get_close_matches(args[0], COMMANDS, n=1)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            ctx.fail(f"No such command {args[0]!r}.{hint}")
        return super().resolve_command(ctx, args)


@click.group(
    cls=LateGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.option("--debug", is_flag=True, help="Write a report file if the program itself fails.")
@click.version_option(package_name="nightplan")
@common_options
@click.pass_context
def group(
    ctx: click.Context, config_path: Path, evening: datetime.date | None, as_json: bool, debug: bool
) -> None:
    """Plan a night of deep-sky imaging before dusk, without a network.

    Begin with `nightplan start`. From then on `nightplan` alone says in a few lines whether
    tonight is worth it, and `nightplan plan` has the times and the subs.
    Exit status: 0 done, 2 bad input, 70 a fault in the program itself.
    """
    if ctx.invoked_subcommand is None:
        from nightplan.cli.tonight import answer

        answer(config_path, evening, as_json)
    elif any(
        ctx.get_parameter_source(name) is ParameterSource.COMMANDLINE
        for name in ("config_path", "evening", "as_json", "rig", "site")
    ):
        raise click.UsageError(f"write the options behind the command: {ctx.invoked_subcommand}")


def run(words: list[str]) -> int:
    """Run the command line given as `words`; prints errors and returns the exit status."""
    # Taken out here, so that it may stand behind the command as well.
    debug = DEBUG in words
    words = [word for word in words if word != DEBUG]
    use_screen()
    try:
        try:
            return _status_of(words)
        except Exception as error:
            if stop := stop_behind(error):
                raise stop from None
            # Every kind of error that is foreseen was answered inside; this is the last resort.
            click.echo(f"nightplan: {one_line(fault_line(error, debug, words))}", err=True)
            return EXIT_STATUS
        finally:
            sys.stdout.flush()
    except FileError as error:
        # Standard output fails when it is flushed, as on a full disk.
        click.echo(f"nightplan: {error}", err=True)
        return 2


def _status_of(words: list[str]) -> int:
    try:
        for word in words:
            if "\0" in word:  # no shell gives one, but another program may
                raise InputError("command line", "argument", word, "text without NUL")
        group.main(words, prog_name="nightplan", standalone_mode=False)
    except NightplanError as error:
        click.echo(f"nightplan: {error}", err=True)
        return 2
    except click.exceptions.Exit as stop:
        return stop.exit_code
    except click.BadParameter as error:
        param = error.param
        if param is None or isinstance(error, click.MissingParameter):
            error.show()
        else:
            name = param.opts[0] if isinstance(param, click.Option) else param.human_readable_name
            line = one_line(f"command line: {name}: {error.message}")
            click.echo(f"nightplan: {line}", err=True)
        return error.exit_code
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except OSError as error:
        # Files that are read and written have errors of their own; this is a path whose folder
        # cannot be entered, a loop of links, or a name that is too long.
        if error.filename is None:
            raise
        trouble = FileError(error.filename, f"cannot be used: {reason_of(error)}")
        click.echo(f"nightplan: {trouble}", err=True)
        return 2
    return 0


EXIT_STATUS = 70
"""An internal fault, as in the BSD header sysexits.h (EX_SOFTWARE)."""


def fault_line(error: BaseException, debug: bool, words: list[str]) -> str:
    """The line that stands for an unforeseen fault; with `debug` a report is written.

    The report holds the trace, the versions and the words of the command line, nothing of the
    configuration or the journal.
    """
    from nightplan.numeric_guard import place_of_fault

    place = place_of_fault(error.__traceback__)
    what = f"fault in the program: {type(error).__name__}: {error} (in {place})"
    if not debug:
        return f"{what}; run again with --debug for a report that helps to mend it"
    try:
        return f"{what}; report: {_write_report(error, words)}"
    except OSError as trouble:
        return f"{what}; no report could be written: {trouble.strerror or trouble}"


def _write_report(error: BaseException, words: list[str]) -> Path:
    from nightplan.files import write_whole

    stamp = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime())
    folder = Path(tempfile.mkdtemp(prefix="nightplan-report-"))
    path = folder / f"nightplan-{stamp}.txt"
    lines = [
        f"nightplan {_version('nightplan')}, Python {sys.version.split()[0]}, {sys.platform}",
        *(f"{name} {_version(name)}" for name in ("numpy", "scipy", "astropy", "highspy")),
        f"command line: {' '.join(map(repr, words))}",
        "",
        *traceback.format_exception(error),
    ]
    write_whole(path, "\n".join(lines).encode("utf-8", "backslashreplace"))
    return path


def _version(package: str) -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version(package)
    except PackageNotFoundError:
        return "(not installed)"
