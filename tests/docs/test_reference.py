"""The generated reference is current, complete, and true of real documents."""

from __future__ import annotations

import importlib.util
import inspect
import json
import re
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner

from nightplan.cli.main import COMMANDS, group
from nightplan.report.documents.base import Document

DOCS = Path(__file__).parents[2] / "docs"


def load_builder() -> ModuleType:
    spec = importlib.util.spec_from_file_location("build_reference", DOCS / "build_reference.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


builder = load_builder()


def schema(name: str) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(
        (DOCS / "reference" / "schemas" / f"{name}.json").read_text(encoding="utf-8")
    )
    return loaded


def test_generated_files_are_current() -> None:
    # In a process of its own: click keeps the help option of the first call that a command meets.
    done = subprocess.run(
        [sys.executable, str(DOCS / "build_reference.py"), "--check"],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, f"run `python docs/build_reference.py`: {done.stdout}{done.stderr}"


def test_no_schema_is_left_over() -> None:
    on_disk = {path.stem for path in (DOCS / "reference" / "schemas").glob("*.json")}
    assert on_disk == set(builder.documents())


@pytest.mark.parametrize("name", builder.documents())
def test_schema_is_one(name: str) -> None:
    # The meta-schema of JSON Schema draft 2020-12, by the package jsonschema.
    jsonschema.Draft202012Validator.check_schema(schema(name))


@pytest.mark.parametrize("name", builder.documents())
def test_every_key_is_explained(name: str) -> None:
    def walk(part: Any, where: str) -> None:
        if isinstance(part, dict):
            for key, value in part.get("properties", {}).items():
                assert value.get("description"), f"{where}.{key} is not in documents.md"
            for key, value in part.items():
                walk(value, f"{where}/{key}")

    walk(schema(name), name)


def test_no_key_is_explained_that_is_not_there() -> None:
    known: dict[str, set[str]] = {"": set()}
    for path in (Path(inspect.getfile(Document)).parent).glob("*.py"):
        module = importlib.import_module(f"nightplan.report.documents.{path.stem}")
        for name, kind in vars(module).items():
            if inspect.isclass(kind) and issubclass(kind, Document):
                known[name] = set(kind.model_fields)
                known[""] |= known[name]
    for owner, keys in builder.key_meanings().items():
        assert owner in known, f"documents.md explains {owner}, which the code does not have"
        assert set(keys) <= known[owner], f"{owner or 'shared'}: {set(keys) - known[owner]}"


REAL = {
    "night": ["night", "--date", "2027-10-06"],
    "pick": ["pick", "--date", "2027-10-06", "--count", "3", "--only", "M 33", "--only", "M 1"],
    "frame": ["frame", "M 33", "--date", "2027-10-06"],
    "exposure": ["exposure", "M 33", "--date", "2027-10-06"],
    "plan": ["plan", "M 33", "--date", "2027-10-06"],
    "angle": ["angle", "--position-angle", "31", "--date", "2027-10-06"],
    "season": ["season", "M 33", "--date", "2027-10-06"],
    "campaign": ["campaign", "M 33", "--date", "2027-10-06", "--nights", "4"],
}
ODD = {
    "night": ["night", "--date", "2027-06-21"],
    "plan": ["plan", "NGC 5139", "--date", "2027-10-06"],
    "angle": ["angle", "--position-angle", "31", "--rotator", "12", "--target-angle", "4"],
}


@pytest.mark.parametrize(
    ("name", "words"),
    [*REAL.items(), *ODD.items()],
    ids=[*REAL, *(f"{name}-odd" for name in ODD)],
)
def test_real_documents_keep_their_schema(name: str, words: list[str], config_file: Path) -> None:
    if (name, words) == ("night", ODD["night"]):
        # A site of white nights: events and windows that do not exist.
        text = config_file.read_text(encoding="utf-8")
        config_file.write_text(
            text.replace("latitude_deg = 38.60", "latitude_deg = 69.0"), encoding="utf-8"
        )
    result = CliRunner().invoke(group, [*words, "--json", "--config", str(config_file)])
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    jsonschema.Draft202012Validator(schema(name)).validate(found)


def test_a_missing_key_breaks_the_schema() -> None:
    validator = jsonschema.Draft202012Validator(schema("night"))
    with pytest.raises(jsonschema.ValidationError, match="required"):
        validator.validate({"site": "x"})


def test_every_key_of_the_configuration_has_its_meaning() -> None:
    from nightplan.model.config import Config

    seen: set[Any] = set()

    def walk(section: Any) -> None:
        seen.add(section)
        keys = set()
        for key, field in section.model_fields.items():
            inner, _ = builder._inner(field.annotation)
            if inner is None:
                keys.add(key)
            elif inner not in seen:
                walk(inner)
        named = set(builder.config_meanings(section))
        assert named == keys, f"docs/reference/key_meanings.toml: [{section.__name__}]"

    walk(Config)
    assert len(seen) > 20


def test_every_command_is_in_the_reference() -> None:
    page = (DOCS / "reference" / "commands.md").read_text(encoding="utf-8")
    assert re.findall(r"^## (\w+)$", page, re.MULTILINE) == list(COMMANDS)


def test_links_between_pages_lead_somewhere() -> None:
    pages = [*DOCS.rglob("*.md"), DOCS.parent / "README.md", DOCS.parent / "DEVELOPERS.md"]
    for page in pages:
        for link in re.findall(r"\]\(([^)#\s]+)(?:#[\w-]*)?\)", page.read_text(encoding="utf-8")):
            if not link.startswith("http"):
                assert (page.parent / link).exists(), f"{page.name}: {link}"
