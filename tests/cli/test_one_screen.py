"""Default answers fit an 80 by 24 terminal with the command and the next prompt."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from nightplan.cli.main import group

MOST_LINES, WIDTH = 22, 80
ASKED = [
    ("frame", "NGC 7000"),  # a mosaic whose angle is unknown, with many notes
    ("frame", "Veil Nebula", "--panels", "4"),
    ("frame", "Virgo cluster"),  # far larger than any field, brightness guessed
    ("frame", "M 31", "--angle", "90", "--train", "flattener"),
    ("exposure", "Virgo cluster"),
    ("pick",),
    ("angle", "--position-angle", "12.5", "--rotator", "44", "--target-angle", "161"),
    ("season", "M 31"),
    ("night",),
]


@pytest.mark.parametrize("words", ASKED, ids=" ".join)
def test_default_answers_fit_one_screen(config_file, words):
    common = ("--config", str(config_file), "--date", "2027-10-06")
    done = CliRunner().invoke(group, [*words, *common])
    assert done.exit_code == 0, done.output
    lines = done.output.rstrip("\n").split("\n")
    assert len(lines) <= MOST_LINES
    assert max(map(len, lines)) <= WIDTH


def test_what_found_no_room_is_counted_and_shown_in_full(config_file):
    common = ("--config", str(config_file), "--date", "2027-10-06")
    short = CliRunner().invoke(group, ["frame", "NGC 7000", *common]).output
    full = CliRunner().invoke(group, ["frame", "NGC 7000", "--full", *common]).output
    hidden = full.count("\nNote: ") - short.count("\nNote: ")
    assert hidden > 0
    assert f"{hidden} more note" in short


def test_who_asks_for_many_targets_gets_them(config_file):
    common = ("--config", str(config_file), "--date", "2027-10-06")
    done = CliRunner().invoke(group, ["pick", "--count", "30", *common])
    assert "\n30  " in done.output
