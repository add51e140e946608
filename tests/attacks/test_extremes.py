"""Every number of the configuration at the ends of what it accepts, alone and together.

Each configuration is refused in one line, or worked with: no trace, no warning of numpy, no NaN
in a document (the documents are strict JSON). Values are drawn with a fixed seed.
"""

from __future__ import annotations

import copy
import json
import random
import tomllib
import types
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

import pytest
import tomlkit
from annotated_types import Ge, Gt, Le, Lt
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from nightplan.cli.main import run
from nightplan.errors import NightplanError
from nightplan.model.config import Config, parse_config
from nightplan.model.starter import starter_text

CASES = 200

Key = tuple[str, ...]
TABLES = tomllib.loads(starter_text())


def numbers(model: type[BaseModel], key: Key = ()) -> Iterator[tuple[Key, type, list[Any]]]:
    """Key, type and limits of every number in a table; NAME stands for the keys of named ones."""
    for name, field in model.model_fields.items():
        yield from _numbers(field.annotation, list(field.metadata), (*key, name))


def _numbers(kind: Any, limits: list[Any], key: Key) -> Iterator[tuple[Key, type, list[Any]]]:
    origin = get_origin(kind)
    if origin is Annotated:
        inner, *more = get_args(kind)
        flat = [one for item in more for one in getattr(item, "metadata", [item])]
        yield from _numbers(inner, [*limits, *flat], key)
    elif origin in (Union, types.UnionType):
        for one in get_args(kind):
            yield from _numbers(one, limits, key)
    elif origin is dict:
        yield from _numbers(get_args(kind)[1], [], (*key, "NAME"))
    elif origin in (tuple, Literal):
        return
    elif isinstance(kind, type) and issubclass(kind, BaseModel):
        yield from numbers(kind, key)
    elif kind in (int, float):
        yield key, kind, [one for one in limits if not isinstance(one, FieldInfo)]


NUMBERS = {key: (kind, limits) for key, kind, limits in numbers(Config)}
NO_LIMITS = {("filter", "NAME", "focus_offset_steps")}


def test_there_are_many_numbers():
    assert len(NUMBERS) > 120


@pytest.mark.parametrize("key", NUMBERS, ids=".".join)
def test_every_number_has_a_physical_floor_and_ceiling(key):
    _, limits = NUMBERS[key]
    if key[-1] in {one[-1] for one in NO_LIMITS}:
        return
    kinds = [type(one) for one in limits]
    assert Le in kinds or Lt in kinds, limits
    assert Ge in kinds or Gt in kinds, limits
    # "Above 0" takes 5e-324: a floor has to be a size that exists.
    assert not [one for one in limits if isinstance(one, Gt) and one.gt == 0.0]


def ends(key: Key) -> list[float]:
    kind, limits = NUMBERS[key]
    found = []
    for one in limits:
        if isinstance(one, (Ge, Le)):
            found.append(one.ge if isinstance(one, Ge) else one.le)
        elif isinstance(one, Lt):
            found.append(float(one.lt) * (1.0 - 1e-9))
    return [kind(one) for one in found]


def places(tables: dict[str, Any], key: Key) -> list[tuple[dict[str, Any], str]]:
    """The tables of the starter file that hold a key, and its last part."""
    found: list[Any] = [tables]
    for part in key[:-1]:
        nested = []
        for one in found:
            if part == "NAME":
                nested += [inner for inner in one.values() if isinstance(inner, dict)]
            elif isinstance(one.get(part), dict):
                nested.append(one[part])
        found = nested
    return [(one, key[-1]) for one in found if key[-1] != "NAME"]


def extreme(chance: random.Random, count: int) -> dict[str, Any]:
    tables = copy.deepcopy(TABLES)
    usable = [key for key in NUMBERS if places(tables, key) and ends(key)]
    for key in chance.sample(usable, count):
        owners = places(tables, key)
        value = chance.choice(ends(key))
        for owner, name in owners if chance.random() < 0.5 else [chance.choice(owners)]:
            owner[name] = value
    return tables


COMMANDS = [
    ["night"], ["exposure", "M 33"], ["exposure", "M 42"], ["frame", "M 33"], ["frame", "IC 1396"],
]  # fmt: skip
SLOW = [["pick", "--count", "3"], ["season", "M 33"]]
"""Plans and campaigns, which take as long as fifty of the others, are drawn by the soak."""


def test_extreme_values_are_refused_or_worked_with(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    chance = random.Random(5)
    worked = 0
    for case in range(CASES):
        text = tomlkit.dumps(extreme(chance, chance.choice([1, 2, 4, 8])))
        Path("nightplan.toml").write_text(text, encoding="utf-8")
        words = chance.choice(COMMANDS) if case % 25 else SLOW[case // 25 % len(SLOW)]
        date = chance.choice(["2027-10-06", "2027-06-21", "2027-12-21"])
        with warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)
            status = run([*words, "--date", date, "--json"])
        shown = capsys.readouterr()
        try:
            assert status in (0, 2)
            if status == 0:
                json.loads(shown.out, parse_constant=pytest.fail)
                assert shown.err == ""
                worked += 1
            else:
                assert shown.err.count("\n") == 1
                assert "numbers leave" not in shown.err
        except BaseException as error:
            changed = [line for line in text.splitlines() if line not in starter_text()]
            error.add_note(f"case {case}: {words} {date}\n{shown.err}\n" + "\n".join(changed))
            raise
    assert worked > CASES / 3


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ("pixel_um = 3.9", "pixel_um = 5e-324", "pixel_um"),
        ("width_px = 6000", "width_px = 100000", "width_px"),
        ("height_px = 4000", "height_px = 100000", "height_px"),
        ("width_nm = 3.0", "width_nm = 1e-9", "width_nm"),
    ],
)
def test_what_was_taken_before_is_refused(old, new, key):
    assert old in starter_text()
    with pytest.raises(NightplanError, match=rf"{key} = .*accepted is"):
        parse_config(starter_text().replace(old, new))


@pytest.mark.filterwarnings("error::RuntimeWarning")
@pytest.mark.parametrize(
    "words",
    [["check"], ["exposure", "M 33"], ["exposure", "M 42"], ["frame", "M 33"], ["pick"]],
    ids=" ".join,
)
def test_a_town_sky_on_eight_bits_behind_a_fivefold_lens(tmp_path, monkeypatch, capsys, words):
    """Each in its range: subs go down to the user's minimum, faint targets to no signal."""
    tables = copy.deepcopy(TABLES)
    tables["site"]["sky_mag_arcsec2"] = 14.0
    tables["camera"]["bits"] = 8
    for train in tables["train"].values():
        train["factor"] = 5.0
    monkeypatch.chdir(tmp_path)
    Path("nightplan.toml").write_text(tomlkit.dumps(tables), encoding="utf-8")
    date = [] if words == ["check"] else ["--date", "2027-10-06"]
    assert run([*words, *date, "--json"]) == 0
    shown = capsys.readouterr()
    found = json.loads(shown.out, parse_constant=pytest.fail)
    assert shown.err == ""
    if words[0] == "exposure":
        broad = [row for row in found["filters"] if row["filter"] in "LRGB"]
        assert {(row["sub_s"], row["sub_bound"]) for row in broad} == {(10.0, "user_minimum")}
        assert all(0.0 < row["snr_one_hour"] < 20.0 for row in broad)
        # The zenith's, or brighter towards the horizon.
        assert 13.5 < found["sky"]["total_v_mag_arcsec2"] < 14.1
    if words == ["check"]:
        assert "converter" in shown.out


def changed(key: Key, value: Any) -> str:
    tables = copy.deepcopy(TABLES)
    for owner, name in places(tables, key):
        owner[name] = value
    return tomlkit.dumps(tables)


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        (("camera", "quantum_efficiency"), [[300.0, 0.0], [1000.0, 0.0]], "passband of filter"),
        (("camera", "quantum_efficiency"), [[-300.0, 0.5], [1000.0, 0.5]], "100 to 3000 nm"),
        (("camera", "quantum_efficiency"), [], "quantum_efficiency"),
        (("filter", "NAME", "centre_nm"), 330.0, "passband about centre_nm"),
        (("train", "NAME", "factor"), 5.0, ""),
        (("optics", "focal_length_mm"), 20_000.0, "focal ratio from 0.7 to 60"),
    ],
)
def test_fields_are_checked_across(key, value, words):
    if not words:
        parse_config(changed(key, value))
        return
    with pytest.raises(NightplanError, match=words):
        parse_config(changed(key, value))


HUGE = [
    ("digits", "latitude_deg = " + "9" * 5000),
    ("depth", "x = " + "[" * 3000 + "]" * 3000),
    ("depth", "x = " + "{a = " * 3000 + "1" + "}" * 3000),
    ("depth", "[" + ".".join("a" * 3000) + "]"),
    ("text", 'x = "' + "a" * 500_000 + '"'),
    ("integer", "latitude_deg = " + "9" * 100),
    ("float", "latitude_deg = 1e999"),
    ("float", "latitude_deg = nan"),
    ("keys", "\n".join(f"k{n} = 1" for n in range(50_000))),
]


@pytest.mark.parametrize(("name", "line"), HUGE, ids=[f"{n}-{i}" for i, (n, _) in enumerate(HUGE)])
def test_huge_files_are_refused_at_once(name, line):
    for text in (line, starter_text().replace("[site]", f"[site]\n{line}\n", 1)):
        with pytest.raises(NightplanError) as caught:
            parse_config(text)
        assert len(str(caught.value)) < 1500


def test_more_trains_than_a_rig_has_are_refused():
    more = "".join(f"[train.t{number}]\nfactor = 0.8\n" for number in range(200))
    with pytest.raises(NightplanError, match=r"train = .*at most 24") as caught:
        parse_config(starter_text().replace("[camera]", f"{more}[camera]", 1))
    assert len(str(caught.value)) < 500
