"""The first minutes: `nightplan` alone, `start`, `check`, completion, dates in other forms."""

from __future__ import annotations

import datetime
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from nightplan.model.catalog_reading import load_catalog
from nightplan.model.config import load_config, parse_config
from nightplan.model.first_file import likely_zone, read_place
from nightplan.model.starter import demo_config, starter_text
from nightplan.planning.optics.rig_oddities import rig_oddities
from nightplan.report.texts.check_text import oddity_words


def run(*args: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "nightplan", *args],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )


def test_start_writes_a_valid_file_and_never_overwrites(tmp_path: Path) -> None:
    first = run("start", folder=tmp_path)
    assert first.returncode == 0, first.stderr
    file = tmp_path / "nightplan.toml"
    assert load_config(file) == demo_config()
    file.write_text("mine", encoding="utf-8")
    second = run("start", folder=tmp_path)
    assert second.returncode == 2
    assert second.stderr.count("\n") == 1
    assert "nightplan.toml" in second.stderr
    assert file.read_text(encoding="utf-8") == "mine"


def test_start_into_a_missing_folder_is_one_line(tmp_path: Path) -> None:
    done = run("start", "--config", "none/x.toml", folder=tmp_path)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "Traceback" not in done.stderr


def test_a_mistyped_command_names_the_near_one(tmp_path: Path) -> None:
    done = run("nigt", folder=tmp_path)
    assert done.returncode == 2
    assert "'night'" in done.stderr


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_each_shell_gets_its_completion_script(shell: str) -> None:
    # click's own protocol: _NIGHTPLAN_COMPLETE=SHELL_source prints the script.
    done = subprocess.run(
        [sys.executable, "-m", "nightplan"],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "_NIGHTPLAN_COMPLETE": f"{shell}_source"},
    )
    assert done.returncode == 0, done.stderr
    assert f"_NIGHTPLAN_COMPLETE={shell}_complete" in done.stdout


@pytest.mark.parametrize(
    ("begun", "offered"),
    [("andr", "AndromedaGalaxy"), ("north", "NorthAmericaNebula"), ("ngc70", "NGC7000")],
)
def test_common_names_are_completed_to_what_is_found(begun: str, offered: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "nightplan"],
        capture_output=True,
        text=True,
        check=False,
        env={
            **os.environ,
            "_NIGHTPLAN_COMPLETE": "bash_complete",
            "COMP_WORDS": f"nightplan frame {begun}",
            "COMP_CWORD": "2",
        },
    )
    assert f"plain,{offered}" in done.stdout.split()
    catalog = load_catalog()
    found = catalog.target(catalog.find(offered))
    assert offered in {name.replace(" ", "") for name in (found.name, *found.common_names)}


ANSWERS = (
    "https://maps.example/@40.1234,-3.5678,12z", "21.2", "80", "480", "1 0.8",
    "4656 3520 3.8 1.2 20000 91", "L R G B Ha 5 OIII 5", "yes",
)  # fmt: skip


def answered(folder: Path, answers: tuple[str, ...]) -> tuple[int, str]:
    """Run `nightplan start` in a terminal of its own and type the answers."""
    import pty

    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "nightplan", "start"],
        cwd=folder, stdin=theirs, stdout=theirs, stderr=theirs, env={**os.environ, "TZ": "Etc/UTC"},
    )  # fmt: skip
    os.close(theirs)
    os.write(ours, "".join(f"{line}\n" for line in answers).encode())
    shown = b""
    try:
        while piece := os.read(ours, 4096):
            shown += piece
    except OSError:
        pass  # Linux says so when the other end is closed
    os.close(ours)
    return process.wait(timeout=60), shown.decode()


def test_eight_answers_make_a_short_valid_file(tmp_path: Path) -> None:
    status, shown = answered(tmp_path, ANSWERS)
    assert status == 0, shown
    assert re.findall(r"(\d)  (?:\x1b\[1m)?(?:Where|How|Aper|Focal|Factor|The|Is)", shown) == list(
        "12345678"
    )
    config = load_config(tmp_path / "nightplan.toml")
    assert (config.site.latitude_deg, config.site.longitude_deg) == (40.1234, -3.5678)
    assert config.site.sky_mag_arcsec2 == 21.2
    assert config.site.timezone == "Etc/UTC"
    assert {name: train.factor for name, train in config.train.items()} == {
        "flattener": 1.0, "reducer": 0.8,
    }  # fmt: skip
    assert list(config.filter) == ["L", "R", "G", "B", "Ha", "OIII"]
    assert config.filter["OIII"].width_nm == 5.0
    assert config.rotator is not None
    assert max(share for _, share in config.camera.quantum_efficiency) == 0.91
    assert len((tmp_path / "nightplan.toml").read_text(encoding="utf-8").splitlines()) < 110
    # nothing that was assumed looks odd in it
    checked = run("check", folder=tmp_path)
    assert checked.returncode == 0, checked.stderr
    assert "Nothing looks odd." in checked.stdout
    again, words = answered(tmp_path, ())
    assert again == 2
    assert "exists already" in words


def test_a_wrong_answer_is_asked_again_with_the_accepted_form(tmp_path: Path) -> None:
    status, shown = answered(tmp_path, ("home", *ANSWERS[:7], "perhaps", "no"))
    assert status == 0, shown
    assert "Wanted: latitude and longitude" in shown
    assert "Wanted: yes or no" in shown
    assert load_config(tmp_path / "nightplan.toml").rotator is None


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("38.60, -7.55, 240", (38.6, -7.55, 240.0)),
        ("38.60 N 7.55 W", (38.6, -7.55, 0.0)),
        ("38°36′00″N 7°33′00″W", (38.6, -7.55, 0.0)),
        ("geo:38.6,-7.55", (38.6, -7.55, 0.0)),
        ("https://maps.example/#map=14/-38.6000/7.5500", (-38.6, 7.55, 0.0)),
        ("-33,5 18,6", (-33.5, 18.6, 0.0)),
        ("S 33.5 E 18.6", (-33.5, 18.6, 0.0)),
    ],
)
def test_places_are_read_as_people_write_them(text: str, place: tuple[float, ...]) -> None:
    found = read_place(text)
    assert (found.latitude_deg, found.longitude_deg, found.elevation_m) == pytest.approx(place)


@pytest.mark.parametrize("text", ["", "38.6", "north of the town", "98.6, 7", "38.6 7.5 240 3"])
def test_what_is_no_place_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="latitude"):
        read_place(text)


def test_a_computer_elsewhere_does_not_lend_its_zone() -> None:
    # Offsets by the IANA database: Berlin is one hour ahead of UTC in January.
    now = datetime.datetime(2027, 1, 15, tzinfo=datetime.UTC)
    assert likely_zone(13.4, "Europe/Berlin", now) == "Europe/Berlin"
    assert likely_zone(-105.0, "Europe/Berlin", now) == "Etc/GMT+7"
    assert likely_zone(151.0, None, now) == "Etc/GMT-10"
    assert likely_zone(0.5, "Nowhere/Atall", now) == "Etc/GMT"


ODD = [
    ("image_circle_mm = 42", "image_circle_mm = 22", "sensor_beyond_circle", "28.1 mm"),
    ("longitude_deg = -7.55", "longitude_deg = 107.55", "zone_far_from_longitude", "east"),
    ("centre_nm = 500.9", "centre_nm = 503.5", "line_outside_filter", "500.7 nm"),
    ("clear_aperture_mm = 33.5", "clear_aperture_mm = 26", "filter_too_small", "corners"),
    ("e_per_adu = 0.763", "e_per_adu = 0.1", "full_well_and_converter", "6554 e⁻"),
    ("guiding_longest_s = 600", "guiding_longest_s = 120", "guiding_shorter_than_longest_sub",
     "120 s"),
    ("battery_wh = 1000", "battery_wh = 200", "battery_short", "3.6 h"),
    ("track_past_meridian_min = 10", "track_past_meridian_min = 200", "tracks_far_past", "200"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "code", "words"), ODD, ids=lambda value: str(value)[:20])
def test_check_names_what_looks_odd(
    tmp_path: Path, old: str, new: str, code: str, words: str
) -> None:
    text = starter_text()
    assert old in text
    now = datetime.datetime(2027, 1, 15, tzinfo=datetime.UTC)
    before = [oddity.code for oddity in rig_oddities(demo_config(), now)]
    found = rig_oddities(parse_config(text.replace(old, new)), now)
    assert code not in before
    rows = [oddity for oddity in found if oddity.code == code]
    assert rows
    assert words in oddity_words(rows[0])
    (tmp_path / "nightplan.toml").write_text(text.replace(old, new), encoding="utf-8")
    done = run("check", folder=tmp_path)
    assert done.returncode == 0
    assert rows[0].key in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("nightplan frame M3", {"M3", "M31", "M33"}),
        ("nightplan pick --kind gal", {"galaxy", "galaxy_group"}),
        ("nightplan frame --train ", {"flattener", "reducer"}),
        ("nightplan collect --filter O", {"OIII"}),
        ("nightplan frame --style d", {"day", "dark"}),
        ("nightplan che", {"check"}),
    ],
)
def test_names_complete(tmp_path: Path, line: str, expected: set[str]) -> None:
    # click's own protocol: the line so far and the place of the word to complete.
    (tmp_path / "nightplan.toml").write_text(starter_text(), encoding="utf-8")
    place = len(line.split(" ")) - 1
    env = {**os.environ, "_NIGHTPLAN_COMPLETE": "bash_complete", "COMP_WORDS": line}
    done = subprocess.run(
        [sys.executable, "-m", "nightplan"],
        capture_output=True, text=True, check=False, cwd=tmp_path,
        env={**env, "COMP_CWORD": str(place)},
    )  # fmt: skip
    found = {item.removeprefix("plain,") for item in done.stdout.split("\n") if item}
    assert expected <= found, done.stdout + done.stderr
    assert all(" " not in item for item in found)


def test_nightplan_alone_says_how_to_begin_and_then_answers(tmp_path: Path) -> None:
    done = run(folder=tmp_path)
    assert done.returncode == 0
    assert done.stdout.count("nightplan start") == 1
    (tmp_path / "nightplan.toml").write_text(starter_text(), encoding="utf-8")
    done = run("--date", "2027-10-06", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert len(done.stdout.splitlines()) <= 14
    assert "go, " in done.stdout.splitlines()[0]
    assert "pack up" in done.stdout


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("06.10.2027", "perhaps 2027-10-06"),
        ("2027/10/6", "perhaps 2027-10-06"),
        ("20271006", "perhaps 2027-10-06"),
        ("10/06/2027", "perhaps 2027-06-10 or 2027-10-06"),
        ("soon", "2199-12-30\n"),
    ],
)
def test_a_date_in_another_form_is_met_with_the_right_one(
    tmp_path: Path, text: str, meant: str
) -> None:
    (tmp_path / "nightplan.toml").write_text(starter_text(), encoding="utf-8")
    done = run("night", "--date", text, folder=tmp_path)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert meant in done.stderr


@pytest.mark.parametrize(
    ("text", "offered", "left_out"),
    [("nebula", "emission_nebula", "galaxy"), ("clusters", "globular_cluster", "star_field")],
)
def test_a_kind_that_is_none_is_met_with_those_that_match(
    tmp_path: Path, text: str, offered: str, left_out: str
) -> None:
    (tmp_path / "nightplan.toml").write_text(starter_text(), encoding="utf-8")
    done = run("pick", "--kind", text, folder=tmp_path)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert offered in done.stderr
    assert left_out not in done.stderr
    fine = run("pick", "--kind", "Globular cluster", "--count", "1", folder=tmp_path)
    assert fine.returncode == 0, fine.stderr
