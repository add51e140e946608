"""The package's front door: late imports, one list of names, documented calls."""

from __future__ import annotations

import inspect
import subprocess
import sys

import pytest

import nightplan
from nightplan import library


def test_import_is_light() -> None:
    code = (
        "import sys, nightplan;"
        "heavy = {'numpy','astropy','matplotlib','scipy','pydantic','astroplan','highspy'};"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_front_door_and_library_hold_the_same_names() -> None:
    assert sorted(nightplan.__all__) == sorted(library.__all__)
    assert set(nightplan.__all__) <= set(dir(nightplan))
    for name in nightplan.__all__:
        assert getattr(nightplan, name) is getattr(library, name)


def test_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no_such_call"):
        nightplan.no_such_call  # noqa: B018


def test_every_command_has_its_call() -> None:
    from nightplan.cli.main import COMMANDS

    by_another_name = {"start": "write_starter", "demo": "demo_config"}
    for command in COMMANDS:
        assert by_another_name.get(command, command) in library.__all__, command


@pytest.mark.parametrize("name", [n for n in library.__all__ if n[0].islower()])
def test_calls_are_documented_with_every_parameter(name: str) -> None:
    call = getattr(library, name)
    text = inspect.getdoc(call)
    assert text
    parameters = list(inspect.signature(call).parameters)
    if len(parameters) > 2:
        missing = [one for one in parameters if one not in text]
        assert not missing, f"{name} does not document {missing}"
