"""Ticks of the field sheet in the journal: files stand above them. Counted by hand."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from nightplan.cli.collect import command
from nightplan.errors import FileError, InputError, TargetError
from nightplan.journal import Journal
from nightplan.journal.ticks import REPLACED, is_tick, read_ticks
from nightplan.model.config import load_config
from nightplan.model.own_targets import catalog_for
from tests.journal.test_fits_import import write

BLOCK = {
    "target": "M 31", "panel": 1, "train": "reducer", "filter": "L", "gain": "low",
    "sub_s": 300.0, "count": 4, "start_utc": "2027-10-06T22:00:00Z",
    "end_utc": "2027-10-06T22:20:20Z", "ticked_utc": "2027-10-06T22:21:00Z",
}  # fmt: skip


@pytest.fixture
def config(config_file):
    return load_config(config_file)


@pytest.fixture
def page(config):
    def make(*blocks, **changes):
        head = {"document": "ticks", "site": config.site.name, "rig": config.rig_name,
                "date": "2027-10-06", "shot": list(blocks or (BLOCK,))}  # fmt: skip
        return json.dumps(head | changes)

    return make


@pytest.fixture
def collect(config_file):
    def run(*options):
        wanted = [*map(str, options), "--config", str(config_file), "--json"]
        return json.loads(CliRunner().invoke(command, wanted, catch_exceptions=False).stdout)

    return run


def stored(config):
    with Journal.of(config) as journal:
        return journal.subs()


def test_ticks_count_once_and_for_their_worth(config, page, collect, tmp_path):
    file = tmp_path / "ticks.json"
    file.write_text(page(), encoding="utf-8")
    first = collect("--ticks", file)
    assert len(first["added"]) == 4
    assert first["added"][0]["start_utc"] == "2027-10-06T22:00:00Z"
    (row,) = first["gathered"]
    assert (row["filter"], row["train"], row["clock_h"]) == ("L", "reducer", round(1200 / 3600, 4))
    assert 0.0 < row["equivalent_h"] < row["clock_h"] * 1.01
    again = collect("--ticks", file)
    assert (len(again["added"]), len(again["already_known"])) == (0, 4)
    # The night went on: two more of the same filter.
    more = {**BLOCK, "count": 2, "start_utc": "2027-10-06T23:00:00Z",
            "end_utc": "2027-10-06T23:10:10Z"}  # fmt: skip
    file.write_text(page(BLOCK, more), encoding="utf-8")
    assert len(collect("--ticks", file)["added"]) == 2
    assert len(stored(config)) == 6


def test_files_take_the_place_of_ticks(config, page, collect, tmp_path):
    file = tmp_path / "ticks.json"
    file.write_text(page(), encoding="utf-8")
    collect("--ticks", file)
    shot = tmp_path / "shot"
    for number in range(3):
        write(shot / f"{number}.fits", **{"DATE_OBS": f"2027-10-06T22:{5 * number:02d}:04"})
    found = collect(shot)
    assert any("3 ticked subs gave way" in notice for notice in found["notices"])
    counted = [sub for sub in stored(config) if sub.accepted]
    assert len(counted) == 4
    assert sum(is_tick(sub) for sub in counted) == 1
    assert {sub.reason for sub in stored(config) if not sub.accepted} == {REPLACED}
    # And the same file of ticks once more brings nothing back.
    assert collect("--ticks", file)["added"] == []
    assert sum(sub.accepted for sub in stored(config)) == 4


def test_ticks_after_files_add_only_what_no_file_stands_for(config, page, collect, tmp_path):
    for number in range(3):
        write(
            tmp_path / "shot" / f"{number}.fits",
            **{"DATE_OBS": f"2027-10-06T22:{5 * number:02d}:04"},
        )
    collect(tmp_path / "shot")
    file = tmp_path / "ticks.json"
    file.write_text(page(), encoding="utf-8")
    assert len(collect("--ticks", file)["added"]) == 1


@pytest.mark.parametrize(
    ("changes", "error", "words"),
    [
        ({"site": "South Rim"}, InputError, "South Rim"),
        ({"rig": "another"}, InputError, "another"),
        ({"shot": [{**BLOCK, "filter": "X"}]}, InputError, "shot.1.filter"),
        ({"shot": [{**BLOCK, "count": -1}]}, InputError, "shot.0.count"),
        ({"shot": [{**BLOCK, "end_utc": "2027-10-06T22:05:00Z"}]}, InputError, "shot.1.end_utc"),
        ({"shot": [{**BLOCK, "start_utc": "22:00"}]}, InputError, "shot.1.start_utc"),
        ({"shot": [{**BLOCK, "target": "Nowhere 7"}]}, TargetError, "Nowhere 7"),
        ({"document": "plan"}, InputError, "document"),
        ({"date": "6 October"}, FileError, "no file of ticks"),
    ],
)
def test_bad_ticks_name_the_key(config, page, changes, error, words):
    with pytest.raises(error) as caught:
        read_ticks("t.json", page(**changes), config, catalog_for(config))
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_what_is_no_json_is_refused(config):
    with pytest.raises(FileError, match="no file of ticks"):
        read_ticks("t.json", "{", config, catalog_for(config))
