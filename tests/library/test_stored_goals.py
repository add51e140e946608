"""Goals that the journal keeps: what they are laid under, and who reads them."""

from __future__ import annotations

import pytest
from astropy import units as u

import nightplan
from nightplan.errors import InputError
from nightplan.journal import Journal
from nightplan.library.earlier import with_stored_goals
from nightplan.model.config import load_config

EVENING = "2027-10-06"


def goals_of(document):
    return {row["filter"]: row["goal_h"] for row in document["progress"]}


def test_the_plan_takes_the_goals_that_frame_keeps(command) -> None:
    command("frame", "triangulum galaxy", "--date", EVENING, "--goal", "L=3.5", "--goal", "Ha=2")
    document = command("plan", "M 33", "--date", EVENING)
    assert goals_of(document) == {"L": 3.5, "Ha": 2.0}
    # What has a goal leads; the season's best fill what it leaves.
    end = command("campaign", "--date", EVENING, "--nights", "2")["finished"][0]
    assert (end["target"], {one["filter"]: one["goal_h"] for one in end["goals"]}) == (
        "M 33",
        {"L": 3.5, "Ha": 2.0},
    )
    command("frame", "M 33", "--date", EVENING, "--goal", "L=0", "--goal", "Ha=0")
    assert goals_of(command("plan", "M 33", "--date", EVENING)).keys() >= {"L", "R", "G", "B"}


@pytest.mark.parametrize(
    ("table", "kept"),
    [
        ("hours = { R = 1.0 }", {"hours": {"R": 1.0}, "snr": {}}),
        ("snr = { R = 40 }", {"hours": {}, "snr": {"R": 40.0}}),
        ("priority = 3.0", {"hours": {"L": 5.0}, "snr": {}, "priority": 3.0}),
    ],
)
def test_the_configuration_stands_first(config_file, table, kept) -> None:
    with open(config_file, "a", encoding="utf-8") as file:
        file.write(f'\n[goal."m33"]\n{table}\n')
    config = load_config(config_file)
    # A filter sold since, and a target that was one's own once, are passed over.
    with Journal.open(config_file.parent, writable=True) as journal:
        journal.set_goals("M 33", {"L": 5.0, "old filter": 4.0})
        journal.set_goals("my forgotten nebula", {"L": 5.0})
    (goal,) = with_stored_goals(config).goal.values()
    assert {key: getattr(goal, key) for key in kept} == kept


def test_goals_from_python(config) -> None:
    assert nightplan.set_goal(config, "m 33", {"L": 90 * u.min, "Ha": 2 * u.hour}) == {
        "L": 1.5 * u.hour,
        "Ha": 2 * u.hour,
    }
    assert nightplan.set_goal(config, "M 33", {"Ha": None}) == {"L": 1.5 * u.hour}
    for wrong in ({"L": 0 * u.hour}, {"L": 2 * u.m}, {"violet": 1 * u.hour}):
        with pytest.raises(InputError):
            nightplan.set_goal(config, "M 33", wrong)
    found = nightplan.plan(config, EVENING, "M 33", journal=False)
    assert len(found.progress) > 1


@pytest.mark.parametrize("wrong", ["L", "L=", "=3", "L=x", "L=-1", "L=1001", "L=nan", "violet=2"])
def test_a_wrong_goal_is_told_and_nothing_is_kept(config_file, wrong) -> None:
    from click.testing import CliRunner

    from nightplan.cli.frame import command
    from nightplan.errors import NightplanError

    wanted = ["M 33", "--config", str(config_file), "--date", EVENING, "--goal", wrong]
    with pytest.raises(NightplanError, match=r"goal"):
        CliRunner().invoke(command, wanted, catch_exceptions=False)
    assert list(config_file.parent.iterdir()) == [config_file]
