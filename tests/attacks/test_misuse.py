"""Every argument of every public call, given what it is not: one line that names it, at once.

The table of wrong values goes by kind, so that a new call is attacked by being public.
"""

from __future__ import annotations

import datetime
import inspect
import itertools
from collections.abc import Iterator

import numpy as np
import pytest
from astroplan import FixedTarget, Observer
from astropy import units as u
from astropy.coordinates import EarthLocation, SkyCoord
from astropy.time import Time

import nightplan
from nightplan import library
from nightplan.errors import InputError, NightplanError
from nightplan.library.gate import KINDS, LIMITS, parts_of
from nightplan.library.outputs import Answer
from nightplan.shown import is_drawn

SKY = SkyCoord(10.0 * u.deg, 41.0 * u.deg)
NO_PLACE = SkyCoord(np.nan * u.deg, 41.0 * u.deg)
NOW = Time("2027-10-06T22:00:00")
OBSERVER = Observer(location=EarthLocation(lat=38.6 * u.deg, lon=-7.5 * u.deg), timezone="UTC")

CALLS = {
    name: getattr(library, name)
    for name in library.__all__
    if inspect.isfunction(getattr(library, name))
}
# What a call needs beside the argument under attack.
NEEDED = {
    "config": "config", "target": "M 33", "what": "M 33", "where": OBSERVER, "observer": OBSERVER,
    "targets": ["M 33"], "near": NOW, "evening": datetime.date(2027, 10, 6), "folder": ".",
    "file": "x", "path": "x.html", "sky": 21.0 * u.mag / u.arcsec**2, "name": "Rim", "coord": SKY,
    "hours": {"L": 5 * u.hour}, "once": True, "start": NOW,
}  # fmt: skip

BAD_TEXT = "five degrees"  # for a Quantity: it is text, but no number with a unit
NUMBERS = [float("nan"), float("inf"), -1, 1e300, "5", [], None, True, 2 + 1j, b"5"]
TEXTS = ["", "  ", "a\x1b[2J", "a\nb", "\udcff", "x" * 5000, 5, b"L", [], True]
WRONG = {
    "Config": [None, "nightplan.toml", {}, 5, OBSERVER],
    "AnyPlace": [None, "Lisbon", (38.6, -7.5), EarthLocation(lat=0 * u.deg, lon=0 * u.deg)],
    "AnyEvening": [
        5, "yesterday", "2027-13-01", datetime.date(1, 1, 1), datetime.date(9999, 12, 31), NO_PLACE,
        datetime.datetime(2027, 10, 6), Time(["2027-10-06", "2027-10-07"]), Time(1e9, format="jd"),
    ],
    "datetime.date": [5, None, "2027-10-06", datetime.datetime(2027, 10, 6), datetime.date.min],
    "AnyTarget": [5, "", b"M 31", NO_PLACE, FixedTarget(NO_PLACE, name="x"), "a\x1b", "x" * 5000],
    "Iterable[AnyTarget]": [[NO_PLACE], [5], ["M 31", None], itertools.repeat("M 31"), {"M 31": 1}],
    "SkyCoord": [5, "M 31", NO_PLACE, SkyCoord([1, 2] * u.deg, [1, 2] * u.deg)],
    "bool": [0, 1, "yes", None, []],
    "int": [*NUMBERS, 1.5],
    "float": [*NUMBERS[:2], *NUMBERS[4:]],
    "str": TEXTS,
    "os.PathLike[str]": ["", "a\0b", 5, b"x", [], True],
    "Quantity": [
        5, np.nan * u.deg, np.inf * u.hour, [1, 2] * u.deg, 5 * u.kg, BAD_TEXT, True, [],
    ],
    "Time": [5, "2027-10-06", Time(["2027-10-06"]), Time(1e9, format="jd"), datetime.date.min],
    "Sequence[str]": [5, [5], ["a\x1b"], {"a": 1}, [None]],
    "Sequence[Constraint]": [5, "x", {}],
    "Sequence[AnySolution]": [5, [5], {}],
    "AnySolution": [5, "", "a\0", {}],
    "tuple[Quantity | AnySolution, Quantity | str]": [5, (1,), [1, 2], "x"],
    "Mapping[str, Quantity | str | None]": [5, [], {5: 1}, "L=5", {"L": 5}, {"L": np.nan * u.h}],
    "Mapping[str, Any]": [5, [], {}, "plan.json"],
    "Done": [5, [], "L=5", {"L": -1}, {"L": 1.5}, {"nothing": 1}, {5: 1}],
    "Planned": [5],
    "StarCatalog": [5, "stars.csv"],
    "Observer": [None, "Lisbon", 5],
    "Site": [5],
    "Pier": ["up", 5, "", "East"],
    "SheetStyle": ["dark", 5, "", "Day"],
    "LampLight": ["neon", 5],
    "Callable[[str], None]": [5, "print"],
}  # fmt: skip


def attacks():
    for call, function in CALLS.items():
        for name, parameter in inspect.signature(function).parameters.items():
            if parameter.kind is parameter.VAR_KEYWORD:
                continue
            parts = parts_of(str(parameter.annotation))
            if "os.PathLike[str]" in parts:
                parts.remove("str")
            number = itertools.count()
            for part in parts:
                others = [KINDS[other] for other in parts if other != part]
                if name in LIMITS:
                    others = [LIMITS[name], *others] if name == "times" else others
                for value in WRONG.get(part, []):
                    if value is BAD_TEXT or not any(kind.holds(value) for kind in others):
                        yield pytest.param(call, name, value, id=f"{call}-{name}-{next(number)}")


ATTACKS = list(attacks())
CONFIG = nightplan.demo_config()


def test_the_table_is_large():
    assert len(ATTACKS) >= 280


@pytest.mark.parametrize(("call", "name", "value"), ATTACKS)
def test_a_misuse_is_named_at_once(call, name, value, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    config = CONFIG
    config._path = tmp_path / "nightplan.toml"
    parameters = inspect.signature(CALLS[call]).parameters
    given = {
        key: config if key == "config" else NEEDED[key]
        for key, parameter in parameters.items()
        if key != name and (parameter.default is parameter.empty or key == "once")
        and parameter.kind is not parameter.VAR_KEYWORD
    }  # fmt: skip
    given = {key: config if one == "config" else one for key, one in given.items()}
    if name in ("done", "keep") and "start" in parameters:
        given["start"] = NOW
        given["evening"] = datetime.date(2027, 10, 6)
    with pytest.raises(NightplanError) as caught:
        CALLS[call](**given, **{name: value})
    assert is_drawn(str(caught.value))
    assert len(str(caught.value)) < 2500
    if isinstance(caught.value, InputError):
        assert caught.value.accepted


NAMED = {
    "pick": {"count": -1},
    "season": {"target": "M 33", "nights": 10**9},
    "plan": {"start": NOW, "done": {"L": -1}},
    "angle": {"target": "M 31", "image_up": 30 * u.deg, "pier": "up"},
    "frame": {"target": FixedTarget(NO_PLACE, name="nowhere")},
}
"""Calls that once gave an answer, or never one, or a bare exception."""


@pytest.mark.parametrize("call", NAMED)
def test_what_once_passed_is_named(call):
    with pytest.raises(InputError) as caught:
        CALLS[call](CONFIG, **NAMED[call])
    assert caught.value.accepted


def test_every_public_call_is_gated():
    for name, function in CALLS.items():
        assert hasattr(function, "__gated__"), name
        for parameter in inspect.signature(function).parameters.values():
            if parameter.kind is not parameter.VAR_KEYWORD:
                assert set(parts_of(str(parameter.annotation))) <= set(KINDS), (name, parameter)


def answers(kind: type = Answer) -> Iterator[type]:
    derived: list[type] = kind.__subclasses__()
    for one in derived:
        yield one
        yield from answers(one)


@pytest.mark.parametrize("kind", list(answers()), ids=lambda kind: kind.__name__)
def test_every_method_of_an_answer_is_gated(kind):
    for name, function in vars(kind).items():
        if inspect.isfunction(function) and not name.startswith("_"):
            assert hasattr(function, "__gated__"), name
            for parameter in [*inspect.signature(function).parameters.values()][1:]:
                assert set(parts_of(str(parameter.annotation))) <= set(KINDS), (name, parameter)


def test_methods_name_what_is_wrong():
    night = nightplan.night(OBSERVER, datetime.date(2027, 10, 6))
    for name in ("noon", "", 5, None):
        with pytest.raises(NightplanError):
            night.time(name)
    with pytest.raises(InputError):
        nightplan.make_target("Rim", NO_PLACE)
