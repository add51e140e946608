"""Builds the generated part of the reference from the code: schemas, commands, library, keys.

    python docs/build_reference.py          write what has changed
    python docs/build_reference.py --check  only say whether everything is current

The same code gives the same bytes; tests/docs holds that the files are current.
"""

from __future__ import annotations

import inspect
import json
import re
import sys
import textwrap
import tomllib
from pathlib import Path
from typing import Any, get_args, get_origin

DOCS = Path(__file__).resolve().parent
REFERENCE = DOCS / "reference"
SCHEMA_DIALECT = "https://json-schema.org/draft/2020-12/schema"
NOTE = "<!-- Made by docs/build_reference.py from the code; do not edit. -->\n\n"


def documents() -> dict[str, tuple[Any, str]]:
    """Type of each command's document, and what it is."""
    from nightplan.report.documents.angle import AngleDocument
    from nightplan.report.documents.campaign import CampaignDocument
    from nightplan.report.documents.check import CheckDocument
    from nightplan.report.documents.collect import CollectDocument, JournalCheckDocument
    from nightplan.report.documents.exposure import ExposureDocument
    from nightplan.report.documents.frame import FrameDocument
    from nightplan.report.documents.night import NightDocument, SitesDocument
    from nightplan.report.documents.pick import PickDocument
    from nightplan.report.documents.plan import PlanDocument
    from nightplan.report.documents.review import FollowDocument, ReviewDocument
    from nightplan.report.documents.season import MonthTarget, SeasonNight
    from nightplan.report.documents.sheet import SheetDocument

    return {
        "night": (NightDocument, "nightplan night --json"),
        "pick": (PickDocument, "nightplan pick --json"),
        "frame": (FrameDocument, "nightplan frame TARGET --json"),
        "exposure": (ExposureDocument, "nightplan exposure TARGET --json"),
        "check": (CheckDocument, "nightplan check --json"),
        "plan": (PlanDocument, "nightplan plan --json, nightplan demo --json"),
        "angle": (AngleDocument, "nightplan angle --json"),
        "collect": (CollectDocument, "nightplan collect FOLDER --json"),
        "collect-check": (JournalCheckDocument, "nightplan collect --check --json"),
        "season": (list[SeasonNight], "nightplan season TARGET --json"),
        "season-month": (list[MonthTarget], "nightplan season --json"),
        "campaign": (CampaignDocument, "nightplan campaign --json"),
        "sites": (SitesDocument, "nightplan night --all-sites --json, pick --all-sites --json"),
        "follow": (FollowDocument, "nightplan follow FOLDER --json"),
        "review": (ReviewDocument, "nightplan review --json"),
        "sheet": (SheetDocument, "nightplan sheet --output FILE --json"),
    }


def key_meanings() -> dict[str, dict[str, str]]:
    """Meaning of each key by class, from the tables of documents.md; "" holds the shared ones."""
    meanings: dict[str, dict[str, str]] = {"": {}}
    owner = ""
    for line in (REFERENCE / "documents.md").read_text(encoding="utf-8").splitlines():
        if line.startswith("#"):
            named = re.search(r"\(`(\w+)`\)", line)
            owner = named[1] if named else ""
        elif match := re.match(r"Document `(\w+)`", line):
            owner = match[1]
        elif match := re.match(r"\| `(\w+)` \| (.+) \|$", line):
            meanings.setdefault(owner, {})[match[1]] = match[2]
    return meanings


def schema_of(name: str) -> dict[str, Any]:
    """JSON Schema of a command's document, every key with its meaning."""
    from pydantic import TypeAdapter

    kind, command = documents()[name]
    schema = TypeAdapter(kind).json_schema()
    meanings = key_meanings()
    parts = dict(schema.get("$defs", {}))
    if "properties" in schema:
        parts[schema["title"]] = schema
    for owner, part in parts.items():
        for key, value in part.get("properties", {}).items():
            value.pop("title", None)
            meaning = meanings.get(owner, {}).get(key) or meanings[""].get(key)
            if meaning:
                value["description"] = meaning
            elif key.endswith("_reason"):
                value["description"] = f"why {key.removesuffix('_reason')} is what it is"
        if "description" in part:
            part["description"] = " ".join(part["description"].split())
    head = {"$schema": SCHEMA_DIALECT, "title": f"Document of `{command}`"}
    return {**head, **{key: value for key, value in schema.items() if key != "title"}}


def commands_page() -> str:
    """Every command's help, as the terminal shows it."""
    import click

    from nightplan.cli.main import COMMANDS, group

    lines = [
        "# Commands\n",
        "All commands take `--config FILE` (default `nightplan.toml`), `--date YYYY-MM-DD` (the "
        "civil date at the site's noon before the night; by default the night that holds now) and "
        "`--json` (one document on standard output, see [documents](documents.md)).\n",
        "Exit status: 0 done, also where the answer is that nothing can be done; 2 bad input, "
        "with one line on standard error that names file, key, value and accepted range; 70 a "
        "fault in the program itself, in one line too (`--debug`, before or behind the command, "
        "writes a report file with the trace and names it; it holds nothing of your files); 130 "
        "stopped by hand (Ctrl-C), 143 by the system (SIGTERM). A reader that leaves, as in "
        "`nightplan plan | head`, is no fault: 0.\n",
    ]
    # With the settings of a real call, for click keeps the help option of the first call it meets.
    wide = {"terminal_width": 88, "max_content_width": 88}
    root = click.Context(group, info_name="nightplan", **group.context_settings, **wide)
    for name, words in COMMANDS.items():
        try:
            command = group.get_command(root, name)
        except ModuleNotFoundError:
            continue
        if command is None:
            continue
        context = click.Context(command, info_name=name, parent=root, **wide)
        lines.append(f"## {name}\n\n{words[0].upper()}{words[1:]}.\n")
        text = "\n".join(line.rstrip() for line in command.get_help(context).splitlines())
        lines.append(f"```text\n{text}\n```\n")
    return NOTE + "\n".join(lines)


def library_page() -> str:
    """Every public call and class of `nightplan.library`, from its docstring."""
    from nightplan import library

    calls = [name for name in library.__all__ if name[0].islower()]
    kinds = [name for name in library.__all__ if name[0].isupper() and name.isidentifier()]
    own = [
        name for name in kinds if getattr(library, name).__module__.startswith("nightplan.library")
    ]
    lines = ["# Library\n", _docstring(inspect.getdoc(library) or ""), "## Calls\n"]
    for name in calls:
        lines.append(_call(name, getattr(library, name), "###"))
    lines.append("## What they give back\n")
    for name in own:
        lines.append(_class(name, getattr(library, name)))
    return NOTE + "\n".join(lines)


def _call(name: str, call: Any, heading: str) -> str:
    return f"{heading} {name}\n\n```python\n{_signature(name, call)}\n```\n\n" + _docstring(
        inspect.getdoc(call) or ""
    )


def _signature(name: str, call: Any) -> str:
    signature = inspect.signature(call)
    parameters = [one for one in signature.parameters.values() if one.name != "self"]
    signature = signature.replace(parameters=parameters)
    text = f"{name}{signature}".replace("'", "")
    if len(text) <= 88:
        return text
    rows: list[str] = []
    starred = False
    for one in parameters:
        if one.kind is inspect.Parameter.KEYWORD_ONLY and not starred:
            rows.append("*")
            starred = True
        rows.append(str(one).replace("'", ""))
    result = str(signature.return_annotation).replace("'", "")
    return f"{name}(\n" + "".join(f"    {row},\n" for row in rows) + f") -> {result}"


def _class(name: str, kind: type) -> str:
    text = [f"### {name}\n", _docstring(inspect.getdoc(kind) or "")]
    for key, member in inspect.getmembers(kind):
        if key.startswith("_"):
            continue
        if isinstance(member, property):
            words = inspect.getdoc(member) or ""
            result = inspect.signature(member.fget).return_annotation  # type: ignore[arg-type]
            text.append(f"- `{key}` → `{result!s}`: {' '.join(words.split())}")
        elif not callable(member) and type(member).__module__.startswith("nightplan.library"):
            text.append(f"- `{key}` → `Time | None`")
        elif inspect.isfunction(member):
            words = " ".join((inspect.getdoc(member) or "").split("\n\n")[0].split())
            text.append(f"- `{_signature(key, member)}`: {words}")
    return "\n".join(text) + "\n"


def _docstring(text: str) -> str:
    """A numpy docstring as Markdown."""
    lines = text.splitlines()
    out: list[str] = []
    section = ""
    i = 0
    while i < len(lines):
        line = lines[i]
        if i + 1 < len(lines) and lines[i + 1].startswith("---"):
            section = line
            out += ["", f"**{line}**", ""]
            i += 2
            continue
        if section in ("Parameters", "Attributes", "Raises", "Returns"):
            if line and not line.startswith(" "):
                head, _, kind = line.partition(" : ")
                out.append(f"- `{head}`" + (f" ({kind})" if kind else ""))
            elif line.strip():
                out[-1] += (": " if out[-1].startswith("- ") and ": " not in out[-1] else " ") + (
                    line.strip()
                )
        elif line.startswith("    ") and (not out or not out[-1].startswith("    ")):
            block = []
            while i < len(lines) and (lines[i].startswith("    ") or not lines[i].strip()):
                block.append(lines[i])
                i += 1
            out += ["```python", *textwrap.dedent("\n".join(block)).strip().splitlines(), "```", ""]
            continue
        else:
            out.append(line)
        i += 1
    return re.sub(r"\n{3,}", "\n\n", "\n".join(out).strip()) + "\n"


def configuration_page() -> str:
    """Every key of the configuration file, with what it accepts and its default."""
    from nightplan.model.config import Config

    lines = [
        "# Configuration file\n",
        "One TOML file, by default `nightplan.toml`; `nightplan start` writes a commented one to "
        "begin with. Keys that are not in these tables are errors, and the message names the "
        "nearest one that is. `NAME` stands for a name of your own.\n",
    ]
    lines += _section("", Config, {})
    return NOTE + "\n".join(lines)


def config_meanings(section: Any) -> dict[str, str]:
    """What each key of a table of the configuration means; a class has those of its parents."""
    text = (REFERENCE / "key_meanings.toml").read_text(encoding="utf-8")
    tables = tomllib.loads(text)
    found: dict[str, str] = {}
    for kind in reversed(section.__mro__):
        found |= tables.get(kind.__name__, {})
    return found


def _section(prefix: str, section: Any, shown: dict[Any, str]) -> list[str]:
    """A table's keys, then the tables in it; a table that stands further up is named only."""
    from nightplan.model.section import accepted_words

    shown[section] = prefix.rstrip(".")
    meanings = config_meanings(section)
    again = []

    rows, below = [], []
    for key, field in section.model_fields.items():
        inner, named = _inner(field.annotation)
        if inner is not None:
            path = f"{prefix}{key}" + (".NAME" if named else "")
            if inner in shown:
                again.append(shown[inner])
            else:
                below.append((path, inner))
            continue
        words = accepted_words(field.annotation, field.metadata)
        if field.is_required():
            default = "required"
        elif field.default_factory is not None or field.default in (None, ()):
            default = ""
        else:
            default = f"`{json.dumps(field.default)}`"
        rows.append(f"| `{key}` | {meanings.get(key, '')} | {words} | {default} |")
    lines = []
    if prefix:
        lines.append(f"## [{prefix.rstrip('.')}]\n")
        words = (inspect.getdoc(section) or "").strip()
        if words:
            lines.append(f"{words}\n")
    if rows:
        lines += ["| key | meaning | accepts | default |", "|---|---|---|---|", *rows, ""]
    if again:
        tables = ", ".join(f"`[{path}]`" for path in again)
        lines.append(f"And the tables {tables}, with `{prefix}` before their names.\n")
    for path, inner in below:
        lines += _section(f"{path}.", inner, shown)
    return lines


def _inner(annotation: Any) -> tuple[Any, bool]:
    """The table that a key holds, if it does, and whether it is one of many with names."""
    from nightplan.model.section import Section

    if isinstance(annotation, type) and issubclass(annotation, Section):
        return annotation, False
    for arg in get_args(annotation):
        found, named = _inner(arg)
        if found is not None:
            return found, named or get_origin(annotation) is dict
    return None, False


def built() -> dict[Path, str]:
    """Every generated file with its text."""
    files = {
        REFERENCE / "commands.md": commands_page(),
        REFERENCE / "library.md": library_page(),
        REFERENCE / "configuration.md": configuration_page(),
    }
    for name in documents():
        text = json.dumps(schema_of(name), indent=2, ensure_ascii=False) + "\n"
        files[REFERENCE / "schemas" / f"{name}.json"] = text
    return files


def main() -> int:
    stale = []
    for path, text in built().items():
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            stale.append(path.relative_to(DOCS))
            if "--check" not in sys.argv:
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_text(text, encoding="utf-8")
    for path in stale:
        print("stale:" if "--check" in sys.argv else "written:", path)
    return 1 if stale and "--check" in sys.argv else 0


if __name__ == "__main__":
    sys.exit(main())
