"""The `nightplan` command: finds the sub-command, turns errors into one line and exit status 2."""

from __future__ import annotations

import importlib
import os
import sys

import click

from nightplan.errors import NightplanError

COMMANDS = {
    "start": "write a commented configuration file to begin with",
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


@click.group(cls=LateGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="nightplan")
def group() -> None:
    """Plan a night of deep-sky imaging before dusk, without a network.

    Begin with `nightplan start`, edit the file it writes, then ask for `nightplan plan`.
    Exit status: 0 done, 2 bad input.
    """


def main() -> None:
    """Run the command line; the entry point of the installed script."""
    try:
        group.main(standalone_mode=False)
    except NightplanError as error:
        click.echo(f"nightplan: {error}", err=True)
        sys.exit(2)
    except click.exceptions.Exit as stop:
        sys.exit(stop.exit_code)
    except click.Abort:
        click.echo("nightplan: stopped", err=True)
        sys.exit(130)
    except click.BadParameter as error:
        param = error.param
        if param is None or isinstance(error, click.MissingParameter):
            error.show()
        else:
            name = param.opts[0] if isinstance(param, click.Option) else param.human_readable_name
            click.echo(f"nightplan: command line: {name}: {error.message}", err=True)
        sys.exit(error.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except BrokenPipeError:
        # The reader of a pipe left; point stdout elsewhere so that its flush at exit is quiet.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except OSError as error:
        # Files have errors of their own; what is left is standard output, as on a full disk.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        reason = (error.strerror or str(error)).lower()
        click.echo(f"nightplan: standard output: cannot be written: {reason}", err=True)
        sys.exit(2)
