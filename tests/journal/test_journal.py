"""The journal: what it keeps, and that nothing confirmed is ever lost.

Durability is checked from outside: a child process writes and is killed with SIGKILL, two child
processes write at once, and SQLite's own integrity check looks at what is left.
"""

from __future__ import annotations

import datetime
import sqlite3
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from nightplan.errors import FileError, InputError, NightplanError
from nightplan.journal import CalibrationFrame, Framing, Journal, RotatorSolution, Sub, schema
from nightplan.journal.records import Equivalent
from nightplan.journal.schema import FILE_NAME

EVENING = datetime.date(2027, 10, 6)


def sub(number=0, **changes):
    values = {
        "identity": f"sub-{number}",
        "target": "M 31",
        "filter": "L",
        "evening": EVENING,
        "start_utc_mjd": 61684.9 + number / 288.0,
        "exposure_s": 300.0,
        "train": "reducer",
    }
    return Sub(**(values | changes))


def open_new(folder):
    return Journal.open(folder, writable=True)


def folder_state(folder):
    return {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in sorted(folder.iterdir())}


def test_reading_makes_nothing(tmp_path):
    assert Journal.open(tmp_path) is None
    assert list(tmp_path.iterdir()) == []


def test_reading_leaves_no_trace(tmp_path):
    with open_new(tmp_path) as journal:
        journal.record_subs([sub(i) for i in range(12)])
    before = folder_state(tmp_path)
    assert list(before) == [FILE_NAME]
    with Journal.open(tmp_path) as journal:
        assert journal.gathered("M 31", "L") == pytest.approx(1.0)
        with pytest.raises(NightplanError, match="opened for reading"):
            journal.record_subs([sub(99)])
    assert folder_state(tmp_path) == before


def test_settings_of_the_file(tmp_path):
    with open_new(tmp_path) as journal:
        pragma = lambda name: journal._connection.execute(f"PRAGMA {name}").fetchone()[0]  # noqa: E731
        assert pragma("journal_mode") == "wal"
        assert pragma("synchronous") == 2  # FULL, by SQLite's documentation of the pragma
        assert pragma("foreign_keys") == 1
        assert pragma("busy_timeout") > 0


def test_reading_beside_a_living_writer_sees_what_was_confirmed(tmp_path):
    with open_new(tmp_path) as writer:
        writer.record_subs([sub(1)])
        assert (tmp_path / (FILE_NAME + "-wal")).stat().st_size > 0
        with Journal.open(tmp_path) as reader:
            assert reader.gathered("M 31", "L") == pytest.approx(300.0 / 3600.0)
            writer.record_subs([sub(2)])
            assert reader.gathered("M 31", "L") == pytest.approx(600.0 / 3600.0)


def test_only_accepted_subs_count_and_haze_counts_in_part(tmp_path):
    with open_new(tmp_path) as journal:
        journal.record_subs(
            [
                sub(1),
                sub(2, weight=0.5),
                sub(3, accepted=False, reason="clouds"),
                sub(4, equivalent_s=150.0),
                sub(5, equivalent_s=150.0, weight=0.5),
                sub(6, filter="Ha"),
                sub(7, train="flattener"),
                sub(8, train=None),
            ]
        )
        # By hand: 300 + 150 + 0 + 150 + 75 = 675 s with the reducer, 300 s with none known.
        assert journal.gathered("m 31", "L", "reducer") == pytest.approx((675 + 300) / 3600)
        assert journal.gathered("M 31", "L", "flattener") == pytest.approx(600 / 3600)
        assert journal.gathered("M 31", "L") == pytest.approx((675 + 600) / 3600)
        assert journal.gathered("M 33", "L") == 0.0
        table = {(row.filter, row.train): row for row in journal.gathered_table()}
        assert table["L", "reducer"].accepted_subs == 4
        assert table["L", "reducer"].rejected_subs == 1
        assert table["L", "reducer"].clock_hours == pytest.approx(1200 / 3600)
        assert table["L", "reducer"].hours == pytest.approx(sum(
            s.counted_s for s in journal.subs() if (s.filter, s.train) == ("L", "reducer")
        ) / 3600)  # fmt: skip
        assert journal.gathered("M 31", "Ha") == pytest.approx(300 / 3600)
        assert journal.judge_subs(["sub-1", "sub-6"], accepted=False, reason="trailed") == 2
        assert journal.gathered("M 31", "Ha") == 0.0
        assert journal.set_equivalents({"sub-7": Equivalent(30.0)}) == 1
        assert journal.gathered("M 31", "L", "flattener") == pytest.approx(330 / 3600)
        assert {s.identity for s in journal.subs(without_equivalent=True)} == {
            "sub-1", "sub-2", "sub-3", "sub-6", "sub-8"
        }  # fmt: skip


def test_a_sub_comes_back_as_it_went_in(tmp_path):
    original = sub(
        3, panel=2, gain="120", sensor_temperature_c=-10.1, image_up_angle_deg=12.5,
        accepted=False, reason="wind; \"gusts\" 'n' more", weight=0.25, equivalent_s=10.0,
        file="/invented/night 1/ünïcode.fits", start_utc_mjd=61684.9034722,
    )  # fmt: skip
    with open_new(tmp_path) as journal:
        assert journal.record_subs([original]).added == ("sub-3",)
        (stored,) = journal.subs("M 31", EVENING)
        again = journal.record_subs([sub(3)])
        assert (again.added, again.already_known) == ((), ("sub-3",))
        assert journal.subs() == [stored]
    assert abs(stored.start_utc_mjd - original.start_utc_mjd) * 86400.0 < 0.001
    assert {**vars(stored), "start_utc_mjd": 0} == {**vars(original), "start_utc_mjd": 0}


def test_all_or_none_of_one_call(tmp_path):
    def faulty():
        yield sub(1)
        raise RuntimeError("the reader of headers fell over")

    with open_new(tmp_path) as journal:
        with pytest.raises(RuntimeError):
            journal.record_subs(faulty())
        assert journal.subs() == []
        journal.record_subs([sub(2)])


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"weight": 1.2}, "weight"),
        ({"weight": float("nan")}, "weight"),
        ({"accepted": False}, "reason"),
        ({"exposure_s": 0.0}, "exposure_s"),
        ({"exposure_s": float("inf")}, "exposure_s"),
        ({"target": " "}, "target"),
        ({"panel": 0}, "panel"),
        ({"equivalent_s": -1.0}, "equivalent_s"),
    ],
)
def test_a_faulty_sub_is_refused(changes, key):
    with pytest.raises(InputError) as caught:
        sub(1, **changes)
    assert caught.value.key == key


def test_framings_goals_and_solutions(tmp_path):
    with open_new(tmp_path) as journal:
        journal.record_framing("M 31", 1, "reducer", 10.68, 41.27, 35.0, 305.0, False)
        journal.record_framing("M 31", 1, "reducer", 10.70, 41.30, 120.0, 30.0, True)
        journal.record_framing("M 31", 1, "reducer", 10.70, 41.30, 35.004, 305.004, False)
        journal.record_framing("M 31", 1, "flattener", 10.68, 41.27, 0.0, 270.0, False)
        journal.record_framing("M 31", 2, "flattener", 11.9, 41.27, 179.999, 269.999, False)
        assert journal.used_angles("M 31", "reducer") == (35.004, 120.0)
        # 0° and 179.999° are one line.
        assert len(journal.used_angles("M 31", "flattener")) == 1
        assert journal.framing("m 31", "reducer") == Framing(
            "M 31", 1, "reducer", 10.70, 41.30, 35.004, 305.004, False,
            journal.framing("M 31", "reducer").recorded_utc,
        )  # fmt: skip
        assert journal.framing("M 31").train == "flattener"
        assert journal.framing("M 31", "reducer", panel=2) is None
        assert journal.framing("M 33") is None
        assert len(journal.framings()) == 5
        with pytest.raises(InputError, match="position_angle_deg"):
            journal.record_framing("M 31", 1, "reducer", 10.68, 41.27, 180.0, 305.0, False)

        journal.set_goals("M 31", {"L": 6.0, "Ha": 3.0})
        journal.set_goals("M 31", {"L": 8.0, "Ha": None})
        journal.set_goals("M 33", {"Ha": 2.0})
        assert journal.goals("m 31") == {"M 31": {"L": 8.0}}
        with pytest.raises(InputError):
            journal.set_goals("M 31", {"L": 1.0, "R": -1.0})
        assert journal.goals() == {"M 31": {"L": 8.0}, "M 33": {"Ha": 2.0}}

        solution = RotatorSolution(EVENING, "reducer", 12.0, 35.0, None, False, "east")
        journal.record_rotator_solution(solution)
        (stored,) = journal.rotator_solutions(EVENING, "reducer")
        assert (stored.reading_deg, stored.pier, stored.image_up_angle_deg) == (12.0, "east", None)
        assert journal.rotator_solutions(EVENING, "flattener") == []

        flat = CalibrationFrame("flat-1", "flat", EVENING, 61684.8, 1.5, "L", "reducer", 35.0)
        assert journal.record_calibration([flat, flat]).already_known == ("flat-1",)
        assert journal.calibration_frames()[0].position_angle_deg == 35.0
        assert journal.last_tear_down() is None
        journal.record_tear_down(61685.25)
        assert journal.last_tear_down() == pytest.approx(61685.25, abs=1e-8)
        assert journal.known_identities() == {"flat-1"}


WRITER = textwrap.dedent(
    """
    import sys, datetime
    from nightplan.journal import Journal, Sub
    folder, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
    with Journal.open(folder, writable=True) as journal:
        for number in range(count):
            journal.record_subs([Sub(
                identity=f"{name}-{number}-{part}", target="M 31", filter="L",
                evening=datetime.date(2027, 10, 6), start_utc_mjd=61684.9, exposure_s=60.0,
            ) for part in range(3)])
            print(number, flush=True)
    """
)


def start_writer(folder, name, count):
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder), name, str(count)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    )


@pytest.mark.parametrize("after", [1, 7, 40])
def test_killed_in_the_middle_of_writing(tmp_path, after):
    child = start_writer(tmp_path, "a", 100_000)
    confirmed = -1
    for line in child.stdout:
        confirmed = int(line)
        if confirmed >= after:
            break
    child.kill()
    confirmed = max([confirmed, *(int(line) for line in child.stdout.read().split())])
    child.wait()
    child.stdout.close()
    child.stderr.close()
    assert confirmed >= after

    before = {n: s[0] for n, s in folder_state(tmp_path).items() if not n.endswith("-shm")}
    with Journal.open(tmp_path) as journal:
        stored = {s.identity for s in journal.subs()}
    wanted = {f"a-{number}-{part}" for number in range(confirmed + 1) for part in range(3)}
    assert wanted <= stored
    assert len(stored) % 3 == 0  # no call is there in part
    after_reading = {n: s[0] for n, s in folder_state(tmp_path).items() if not n.endswith("-shm")}
    assert after_reading == before

    # The dead writer's log alone, without its index: as after copying the folder.
    (tmp_path / (FILE_NAME + "-shm")).unlink(missing_ok=True)
    with Journal.open(tmp_path) as journal:
        assert {s.identity for s in journal.subs()} == stored
    assert not (tmp_path / (FILE_NAME + "-shm")).exists()

    with open_new(tmp_path) as journal:
        assert {s.identity for s in journal.subs()} == stored
        assert journal.record_subs([sub(1)]).added
        assert journal._connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"


def test_two_writers_at_once_on_a_new_journal(tmp_path):
    children = [start_writer(tmp_path, name, 25) for name in ("a", "b")]
    for child in children:
        out, err = child.communicate(timeout=60)
        assert child.returncode == 0, err
        assert len(out.split()) == 25
    with Journal.open(tmp_path) as journal:
        assert len(journal.subs()) == 2 * 25 * 3
        assert len(journal.framings()) == 0
    plain = sqlite3.connect(tmp_path / FILE_NAME)
    assert plain.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    assert plain.execute("SELECT count(*) FROM target").fetchone()[0] == 1
    plain.close()


@pytest.mark.parametrize("writable", [False, True])
@pytest.mark.parametrize("fault", ["text", "torn", "scribbled", "stranger", "newer"])
def test_a_faulty_file_is_told_and_kept(tmp_path, fault, writable):
    path = tmp_path / FILE_NAME
    with open_new(tmp_path) as journal:
        journal.record_subs([sub(i) for i in range(400)])
    whole = path.read_bytes()
    if fault == "text":
        path.write_text("this is no database, but it is somebody's file\n" * 100)
    elif fault == "torn":
        path.write_bytes(whole[: len(whole) // 2])
    elif fault == "scribbled":
        path.write_bytes(whole[:8192] + b"\xa5" * 8192 + whole[16384:])
    else:
        path.unlink()
        stranger = sqlite3.connect(path)
        if fault == "stranger":
            stranger.execute("CREATE TABLE recipes (soup TEXT)")
        else:
            path.write_bytes(whole)
            stranger.execute("INSERT INTO schema_version VALUES (999, '')")
        stranger.commit()
        stranger.close()
        for ending in ("-wal", "-shm"):
            path.with_name(path.name + ending).unlink(missing_ok=True)
    before = path.read_bytes()
    with pytest.raises(FileError) as caught:
        Journal.open(tmp_path, writable)
    text = str(caught.value)
    assert FILE_NAME in text
    assert "left as it is" in text
    assert "\n" not in text
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == [FILE_NAME]


def test_a_missing_folder_is_told(tmp_path):
    with pytest.raises(FileError, match="folder is missing"):
        Journal.open(tmp_path / "no" / "such", writable=True)


def test_an_empty_file_is_a_journal_to_be(tmp_path):
    (tmp_path / FILE_NAME).touch()
    assert Journal.open(tmp_path) is None
    with open_new(tmp_path) as journal:
        assert journal.record_subs([sub(1)]).added


NEXT_STEP = ("ALTER TABLE night ADD COLUMN seeing_arcsec REAL", "UPDATE night SET note = 'carried'")


def test_migration_keeps_what_was_there(tmp_path, monkeypatch):
    with open_new(tmp_path) as journal:
        journal.record_subs([sub(1), sub(2)])
    before = folder_state(tmp_path)
    steps = (*schema.STEPS, NEXT_STEP)
    for function in (schema.check_version, schema.migrate):
        monkeypatch.setattr(function, "__defaults__", (steps,))
    monkeypatch.setattr("nightplan.journal.database.STEPS", steps)
    # Read by the newer program: brought up to date in memory only.
    with Journal.open(tmp_path) as journal:
        assert schema.stored_version(journal._connection) == len(steps)
        assert len(journal.subs()) == 2
    assert folder_state(tmp_path) == before
    with open_new(tmp_path) as journal:
        assert schema.stored_version(journal._connection) == len(steps)
        assert [row[0] for row in journal._connection.execute("SELECT note FROM night")] == [
            "carried"
        ]
        assert len(journal.subs()) == 2


def test_a_migration_that_fails_changes_nothing(tmp_path):
    with open_new(tmp_path) as journal:
        journal.record_subs([sub(1)])
        faulty = (*schema.STEPS, (*NEXT_STEP, "UPDATE nothing SET here = 1"))
        with pytest.raises(sqlite3.OperationalError):
            schema.migrate(journal._connection, "x", faulty)
        assert schema.stored_version(journal._connection) == len(schema.STEPS)
        columns = [row[1] for row in journal._connection.execute("PRAGMA table_info(night)")]
        assert "seeing_arcsec" not in columns
        assert len(journal.subs()) == 1
