"""`nightplan campaign`: the pinned keys, the text, the calendar, and its errors."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from nightplan.cli.main import run as run_words

# The keys of shared/design/interface.md, copied here.
NIGHT_KEYS = {"date", "target", "train", "hours"}
END_KEYS = {"target", "expected_date", "chance"}

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(config_file: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run the command in this process; gives exit status, standard output and error."""
    text = config_file.read_text(encoding="utf-8")
    config_file.write_text(text.replace("# goal_hours = 12", "goal_hours = 12"), encoding="utf-8")

    def call(*args: str) -> tuple[int, str, str]:
        status = run_words(["campaign", *args, "--config", str(config_file)])
        said = capsys.readouterr()
        return status, said.out, said.err

    return call


AUTUMN = ("M 33", "NGC 7000", "--date", "2027-10-06", "--nights", "8")


def test_the_document_has_its_keys(run: Run) -> None:
    status, out, err = run(*AUTUMN, "--chance", "1", "--json")
    assert (status, err) == (0, "")
    found = json.loads(out)
    assert set(found) >= {"nights", "finished", "waits"}
    assert found["nights"]
    dates = [row["date"] for row in found["nights"]]
    assert dates == sorted(dates)
    assert "2027-10-06" <= dates[0] <= dates[-1] <= "2027-10-13"
    for row in found["nights"]:
        assert set(row) >= NIGHT_KEYS
        assert row["target"] in {"M 33", "NGC 7000"}
        assert row["train"] in {"flattener", "reducer"}
        assert 0.0 < row["hours"] < 14.0
    assert [row["target"] for row in found["finished"]] == ["M 33", "NGC 7000"]
    for row in found["finished"]:
        assert set(row) >= END_KEYS
        assert row["chance"] in (0.0, 1.0)
        if row["expected_date"] is None:
            assert row["expected_date_reason"] == "not_within_the_nights"
        else:
            assert "expected_date_reason" not in row
    assert len(found["evenings"]) == 8
    again = run(*AUTUMN, "--chance", "1", "--json")
    assert again[1] == out


def test_the_text_fits_80_columns_and_says_when(run: Run) -> None:
    args = ("--date", "2027-10-06", "--nights", "30", "--chance", "0.6")
    status, out, err = run("M 31", "NGC 7000", *args)
    assert (status, err) == (0, "")
    assert len(out.splitlines()) <= 22
    assert "Wed 2027-10-06" in out
    status, full, err = run("M 31", "NGC 7000", "--full", *args)
    assert (status, err) == (0, "")
    for words in ("Wed 2027-10-06", "chance of 60 %", "wait from"):
        assert words in full
    for text in (out, full):
        assert max(len(line) for line in text.splitlines()) <= 80
        ends = text.split("goal reached")[1].splitlines()
        assert any(line.startswith("NGC 7000") and "2027-10-" in line for line in ends)


def test_the_chance_moves_the_date(run: Run) -> None:
    dates = []
    for chance in ("0.3", "0.9"):
        _, out, _ = run("M 33", "--date", "2027-10-26", "--nights", "25", "--chance", chance,
                        "--json")  # fmt: skip
        dates.append(json.loads(out)["finished"][0]["expected_date"])
    assert dates[1] < (dates[0] or "9999")


def test_an_impossible_wish_is_an_answer(run: Run) -> None:
    status, out, _ = run("NGC 104", "--date", "2027-10-06", "--nights", "4", "--json")
    assert status == 0
    found = json.loads(out)
    assert found["nights"] == []
    assert found["nights_reason"] == "never_up"
    (row,) = found["finished"]
    assert row["expected_date"] is None
    assert row["expected_date_reason"] == "never_up"
    assert row["chance"] == 0.0
    status, out, _ = run("NGC 104", "--date", "2027-10-06", "--nights", "4")
    assert status == 0
    assert "never above the limits" in out


@pytest.mark.parametrize("style", ["day", "red"])
def test_the_calendar_is_saved(run: Run, tmp_path: Path, style: str) -> None:
    picture = tmp_path / "calendar.svg"
    status, out, _ = run(*AUTUMN, "--plot", str(picture), "--style", style, "--narrow")
    assert status == 0
    assert f"Written: {picture}" in out
    assert "</svg>" in picture.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("args", "parts"),
    [
        (("--nights", "0"), ("--nights = 0", "1 to 400")),
        (("--nights", "401"), ("--nights = 401", "1 to 400")),
        (("--chance", "1.01"), ("--chance = 1.01", "0 to 1")),
        (("--plot", "calendar.gif"), ("calendar.gif", ".png")),
        (("--plot", "calendar.png", "--style", "pink"), ("pink", "day")),
        (("NGC 99999x",), ("NGC 99999x",)),
        (("--date", "soon"), ("--date", "soon")),
    ],
)
def test_bad_input_is_one_line(run: Run, args: tuple[str, ...], parts: tuple[str, ...]) -> None:
    status, out, err = run(*args)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert all(part in err for part in parts)
