"""One form of figures in all that is printed: read off the strings of the code itself.

Spaces before units and before the per cent sign follow ISO 80000-1:2022, 7.1 and the SI Brochure
(9th edition, 5.4.3 and 5.4.7); angles in °, ′, ″ take none.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "nightplan"
SHOWN = [
    path
    for folder in ("cli", "library", "planning", "report")
    for path in sorted((PACKAGE / folder).rglob("*.py"))
]
UNITS = "h|min|s|ms|mm|cm|km|m|px|nm|µm|W|Wh|V|K|Hz|MiB|GiB|kB|mag|e⁻|ke⁻"
GLUED = re.compile(rf"^(?:{UNITS})(?![\w])")
# Coordinates, escape sequences and plurals put letters behind a number.
EXEMPT = ("dec_label", "ra_label", "ra_text", "dec_text", "styled", "counted")


def strings(path: Path) -> Iterator[ast.AST]:
    """f-strings and plain ones, but no docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docs = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    left_out = {
        id(node)
        for function in ast.walk(tree)
        if isinstance(function, ast.FunctionDef) and function.name in EXEMPT
        for node in ast.walk(function)
    }
    for node in ast.walk(tree):
        if id(node) in docs or id(node) in left_out:
            continue
        text = isinstance(node, ast.Constant) and isinstance(node.value, str)
        if text or isinstance(node, ast.JoinedStr):
            yield node


def faults(node: ast.AST) -> list[str]:
    if isinstance(node, ast.Constant):
        text = str(node.value)
        found = re.findall(r"\d%(?!\w)|%\}|\bper cent\b|\bpercent\b(?=[ ,.])", text)
        return [*found, *re.findall(r"(?<![\w.-])-\d+(?:\.\d+)? ?(?:°|%|mm)", text)]
    assert isinstance(node, ast.JoinedStr)
    found = []
    for before, after in zip([None, *node.values], node.values, strict=False):
        if isinstance(after, ast.FormattedValue) and after.format_spec is not None:
            spec = ast.unparse(after.format_spec)
            if "%'" in spec and not re.search(r"%[A-Za-z]", spec):
                found.append(spec)
        if isinstance(before, ast.FormattedValue) and isinstance(after, ast.Constant):
            text = str(after.value)
            if text.startswith("%") or GLUED.match(text):
                found.append(text)
    return found


@pytest.mark.parametrize("path", SHOWN, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_one_space_before_units_and_one_form_of_shares(path: Path) -> None:
    wrong = {ast.unparse(node)[:100]: faults(node) for node in strings(path) if faults(node)}
    assert not wrong


def test_the_forms_are_told_apart() -> None:
    def of(code: str) -> list[str]:
        return faults(ast.parse(code, mode="eval").body)

    for wrong in ('f"{x:.0%} lit"', 'f"{x:.0f}% lit"', 'f"{x}h"', 'f"{x:g}mm wide"', '"-5 mm"',
                  '"10% of it"', '"one per cent"'):  # fmt: skip
        assert of(wrong), wrong
    for right in ('f"{x:.0f} %"', 'f"{x} h"', 'f"{when:%H:%M}"', 'f"{x:.1f}°"', 'f"{n}th"',
                  '"%Y-%m-%d"', '"2027-10-06"', '"−5 mm"'):  # fmt: skip
        assert not of(right), right
