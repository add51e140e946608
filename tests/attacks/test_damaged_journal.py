"""Damaged and altered journals: read as they were written, or refused in one line; never changed.

The damage is drawn with a fixed seed. Each file must either give exactly what was stored or one
`FileError` that names the journal, and every byte of it must still be there afterwards.
"""

from __future__ import annotations

import datetime
import errno
import json
import os
import random
import re
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from nightplan.cli.main import run
from nightplan.errors import FileError, NightplanError
from nightplan.journal import CalibrationFrame, Journal, RotatorSolution, Sub, backups, schema
from nightplan.journal.checkup import check_journal, restore_newest_good, seal_journal
from nightplan.journal.schema import FILE_NAME, VERSION_1
from nightplan.journal.tables import TABLES
from nightplan.shown import is_drawn

EVENING = datetime.date(2027, 10, 6)
CASES = 200


def fill(folder: Path) -> None:
    with Journal.open(folder, writable=True) as journal:
        journal.record_subs(
            [
                Sub(
                    identity=f"sub-{number}", target=f"M {31 + number % 3}",
                    filter="LRGB"[number % 4], evening=EVENING,
                    start_utc_mjd=61684.9 + number / 288.0, exposure_s=300.0,
                    train="reducer", gain="100", sensor_temperature_c=-10.0,
                    image_up_angle_deg=12.5, equivalent_s=None if number % 2 else 250.0,
                    accepted=number % 5 > 0, reason="" if number % 5 else "clouds",
                    file=f"/invented/{number}.fits",
                )
                for number in range(60)
            ]
        )  # fmt: skip
        journal.record_framing("M 31", 1, "reducer", 10.68, 41.27, 35.0, 305.0, False)
        journal.set_goals("M 31", {"L": 6.0, "R": 3.0})
        journal.record_rotator_solution(
            RotatorSolution(EVENING, "reducer", 12.0, 35.0, 305.0, False, "east")
        )
        journal.record_calibration(
            [CalibrationFrame("flat-1", "flat", EVENING, 61684.8, 1.5, "L", "reducer", 35.0)]
        )
        journal.record_tear_down(61685.25)


def content(folder: Path) -> list[object]:
    journal = Journal.open(folder)
    if journal is None:
        return []
    with journal:
        return [
            journal.subs(), journal.framings(), journal.goals(), journal.gathered_table(),
            journal.rotator_solutions(None, "reducer"), journal.calibration_frames(),
            journal.last_tear_down(), sorted(journal.known_identities()),
        ]  # fmt: skip


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> tuple[bytes, list[object]]:
    folder = tmp_path_factory.mktemp("journal")
    fill(folder)
    return (folder / FILE_NAME).read_bytes(), content(folder)


def assert_told_or_the_same(folder: Path, wanted: list[object]) -> bool:
    """Whether the journal was refused; it is neither changed nor read otherwise than stored."""
    path = folder / FILE_NAME
    before = path.read_bytes()
    told = ""
    try:
        assert content(folder) == wanted
    except FileError as error:
        told = str(error)
    if told:
        assert FILE_NAME in told
        assert is_drawn(told)
        with pytest.raises(FileError):
            Journal.open(folder, writable=True)
    assert path.read_bytes() == before
    assert os.listdir(folder) == [FILE_NAME]
    return bool(told)


def damage(data: bytes, chance: random.Random) -> bytes:
    kind = chance.choice(["bits", "bytes", "page", "zeros", "cut", "swap", "longer"])
    changed = bytearray(data)
    at = chance.randrange(len(data))
    if kind == "bits":
        for _ in range(chance.randint(1, 3)):
            changed[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    elif kind == "bytes":
        changed[at : at + 8] = chance.randbytes(8)
    elif kind == "page":
        start = at // 4096 * 4096
        changed[start : start + 4096] = chance.randbytes(4096)
    elif kind == "zeros":
        changed[at : at + 512] = bytes(len(changed[at : at + 512]))
    elif kind == "cut":
        del changed[at:]
    elif kind == "swap":
        one, other = (chance.randrange(len(data) // 4096) * 4096 for _ in range(2))
        changed[one : one + 4096], changed[other : other + 4096] = (
            changed[other : other + 4096],
            changed[one : one + 4096],
        )
    else:
        changed += chance.randbytes(chance.randint(1, 5000))
    return bytes(changed)


def test_a_byte_of_the_schema_that_is_no_text(tmp_path, whole):
    """SQLite keeps the words that made a table, and says them when something is wrong."""
    data, wanted = whole
    places = [
        found.start() + step
        for found in re.finditer(rb"CREATE [^\x00]{10,}", data)
        for step in range(0, len(found[0]), 23)
    ]
    assert len(places) > 100
    refused = 0
    for at in places:
        (tmp_path / FILE_NAME).write_bytes(data[:at] + b"\xfc" + data[at + 1 :])
        refused += assert_told_or_the_same(tmp_path, wanted)
    assert refused > 20


def test_random_damage(tmp_path, whole):
    data, wanted = whole
    chance = random.Random(19)
    refused = 0
    for number in range(CASES):
        (tmp_path / FILE_NAME).write_bytes(damage(data, chance))
        if (tmp_path / FILE_NAME).stat().st_size == 0:
            continue  # an empty file is a journal to be
        try:
            refused += assert_told_or_the_same(tmp_path, wanted)
        except BaseException as error:
            error.add_note(f"case {number}")
            raise
    assert refused > CASES / 4


ODD = [
    None, "", " ", "x", "2027-10906T21:00:00.000Z", "2027-13-01", "20271006", b"\xff\xfe", b"", 0,
    1, -1, 2, 0.5, -0.5, 1e308, float("inf"), 2**62, "é" * 50, "a\x00b", "\x1b[2J", "1e5", "nan",
    "[1]", '{"L": "x"}', '{"L": -1}', "{}", "[" * 9999,
]  # fmt: skip


def test_random_changes_by_hand(tmp_path, whole):
    data, wanted = whole
    chance = random.Random(91)
    refused = 0
    for number in range(CASES):
        path = tmp_path / FILE_NAME
        path.write_bytes(data)
        plain = sqlite3.connect(path)
        plain.execute("PRAGMA journal_mode = DELETE")
        plain.execute("PRAGMA ignore_check_constraints = ON")
        table = chance.choice([*TABLES, "schema_version"])
        columns = [row[1] for row in plain.execute(f"PRAGMA table_info({table})")]
        column, value = chance.choice(columns), chance.choice(ODD)
        rows = [row[0] for row in plain.execute(f"SELECT rowid FROM {table}")]
        if not rows:
            plain.close()
            continue
        try:
            plain.execute(
                f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (value, chance.choice(rows))
            )
            plain.commit()
        except sqlite3.Error:
            plain.rollback()
        plain.close()
        try:
            refused += assert_told_or_the_same(tmp_path, wanted)
        except BaseException as error:
            error.add_note(f"case {number}: {table}.{column} = {value!r}")
            raise
    assert refused > CASES / 2


@pytest.mark.parametrize(
    "statement",
    [
        *(f"DROP TABLE {name}" for name in [*TABLES, "schema_version"]),
        *(f"ALTER TABLE {name} RENAME TO other" for name in TABLES),
        "ALTER TABLE sub DROP COLUMN gain",
        "ALTER TABLE sub RENAME COLUMN weight TO mass",
        "ALTER TABLE sub ADD COLUMN more TEXT",
        "DROP INDEX sub_of",
        "DELETE FROM schema_version",
        "UPDATE schema_version SET version = -5 WHERE version = 2",
        "DELETE FROM schema_version WHERE version = 1",
        "CREATE TRIGGER more AFTER INSERT ON sub BEGIN DELETE FROM goal; END",
        "CREATE VIEW more AS SELECT * FROM sub",
        "UPDATE sub SET target_id = 77 WHERE id = 1",
        "UPDATE target SET name = 'M 110' WHERE id = 1",
        "UPDATE goal SET hours = 1e308",
        "UPDATE sub SET exposure_s = 301.0 WHERE id = 7",
        "PRAGMA application_id = 7",
    ],
)
def test_another_shape_is_told(tmp_path, whole, statement):
    data, wanted = whole
    (tmp_path / FILE_NAME).write_bytes(data)
    plain = sqlite3.connect(tmp_path / FILE_NAME)
    plain.execute("PRAGMA journal_mode = DELETE")
    plain.execute("PRAGMA foreign_keys = OFF")
    plain.execute(statement)
    plain.commit()
    plain.close()
    assert assert_told_or_the_same(tmp_path, wanted)


def test_a_fault_names_table_row_key_and_remedy(tmp_path, whole):
    data, _ = whole
    (tmp_path / FILE_NAME).write_bytes(data)
    plain = sqlite3.connect(tmp_path / FILE_NAME)
    plain.execute("UPDATE sub SET start_utc = '2027-10906T21:00:00.000Z' WHERE id = 12")
    plain.commit()
    plain.close()
    with pytest.raises(FileError) as caught:
        content(tmp_path)
    assert "table sub, row 12: start_utc = '2027-10906T21:00:00.000Z': accepted is a time such" in (
        str(caught.value)
    )
    assert "collect --check" in str(caught.value)


def old_journal(folder: Path) -> Path:
    """As the first version wrote it, without checksums."""
    path = folder / FILE_NAME
    plain = sqlite3.connect(path, isolation_level=None)
    schema._run_steps(plain, 0, (VERSION_1,))
    plain.execute("INSERT INTO target VALUES (1, 'M 31', NULL, NULL)")
    plain.execute("INSERT INTO night VALUES (1, '2027-10-06', '')")
    plain.execute(
        "INSERT INTO sub (identity, target_id, night_id, panel, filter, start_utc, exposure_s, "
        "accepted) VALUES ('a', 1, 1, 1, 'L', '2027-10-06T21:00:00.000Z', 300.0, 1)"
    )
    plain.close()
    return path


def test_an_older_journal_is_backed_up_and_sealed(tmp_path):
    path = old_journal(tmp_path)
    before = path.read_bytes()
    with Journal.open(tmp_path) as journal:
        assert journal.gathered("M 31", "L") == pytest.approx(300 / 3600)
    assert path.read_bytes() == before
    with Journal.open(tmp_path, writable=True) as journal:
        assert journal.gathered("M 31", "L") == pytest.approx(300 / 3600)
    (backup,) = backups.backups_of(path)
    plain = sqlite3.connect(backup)
    assert schema.stored_version(plain) == 1
    plain.close()
    assert check_journal(tmp_path).journal.fault is None


def test_an_older_journal_with_a_fault_is_left_as_it_is(tmp_path):
    path = old_journal(tmp_path)
    plain = sqlite3.connect(path)
    plain.execute("UPDATE sub SET start_utc = 'yesterday'")
    plain.commit()
    plain.close()
    before = path.read_bytes()
    for writable in (False, True):
        with pytest.raises(FileError, match="table sub, row 1: start_utc"):
            Journal.open(tmp_path, writable=writable)
    assert path.read_bytes() == before
    assert os.listdir(tmp_path) == [FILE_NAME]


def test_backups_rotate_once_a_night_and_only_when_good(tmp_path, monkeypatch):
    start = datetime.datetime(2027, 10, 6, 20, tzinfo=datetime.UTC)
    path = tmp_path / FILE_NAME
    made = []
    for night in range(6):
        for hours in (0, 3, 9):
            now = start + datetime.timedelta(days=night, hours=hours)
            monkeypatch.setattr(backups, "_now", lambda now=now: now)
            with Journal.open(tmp_path, writable=True) as journal:
                journal.set_goals("M 31", {"L": 1.0 + night})
            made.append([backups.taken(one) for one in backups.backups_of(path)])
    # The first opening made the journal; the second found rows and no backup.
    assert made[0] == []
    assert made[2] == [start + datetime.timedelta(hours=3)]
    assert [one.date().day for one in made[-1]] == [11, 10, 9]
    plain = sqlite3.connect(path)
    plain.execute("UPDATE goal SET hours = 500.0")
    plain.commit()
    plain.close()
    monkeypatch.setattr(backups, "_now", lambda: start + datetime.timedelta(days=9))
    with pytest.raises(FileError, match=r"table goal, row 1 .*checksum"):
        Journal.open(tmp_path, writable=True)
    assert [one.date().day for one in map(backups.taken, backups.backups_of(path))] == [11, 10, 9]


def test_the_newest_good_backup_comes_back_and_nothing_is_lost(tmp_path, monkeypatch, whole):
    data, wanted = whole
    path = tmp_path / FILE_NAME
    path.write_bytes(data)
    with pytest.raises(NightplanError, match="is sound"):
        restore_newest_good(tmp_path)
    with Journal.open(tmp_path, writable=True):
        pass  # the first opening of a night backs up
    newer = path.with_name("nightplan-journal.backup-29991231T235959Z.db")
    newer.write_bytes(b"no journal at all")
    torn = data[: len(data) // 2]
    path.write_bytes(torn)
    found = check_journal(tmp_path)
    assert found.journal.fault
    assert [one.fault is None for one in found.backups] == [False, True]
    kept, backup = restore_newest_good(tmp_path)
    assert backup == found.newest_good.path
    assert kept.read_bytes() == torn
    assert content(tmp_path) == wanted
    assert check_journal(tmp_path).journal.fault is None


def test_changes_by_hand_can_be_taken(tmp_path, whole):
    path = tmp_path / FILE_NAME
    path.write_bytes(whole[0])
    plain = sqlite3.connect(path)
    plain.execute("UPDATE goal SET hours = 9.0 WHERE filter = 'L'")
    plain.commit()
    plain.close()
    with pytest.raises(FileError, match="checksum"):
        content(tmp_path)
    kept, rows = seal_journal(tmp_path)
    assert rows > 60
    with Journal.open(tmp_path) as journal:
        assert journal.goals()["M 31"] == {"L": 9.0, "R": 3.0}
    with sqlite3.connect(kept) as plain:
        assert plain.execute("SELECT max(hours) FROM goal").fetchone() == (9.0,)


FULL = """
import resource, signal, sys, datetime
from nightplan.errors import FileError
from nightplan.journal import Journal, Sub
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]),) * 2)
try:
    with Journal.open(sys.argv[1], writable=True) as journal:
        journal.record_subs([Sub(f"s{n}", "M 31", "L", datetime.date(2027, 10, 6), 61684.9, 60.0)
                             for n in range(2000)])
except FileError as error:
    print(error)
"""


@pytest.mark.posix
@pytest.mark.parametrize("most_bytes", [0, 8192, 60_000, 120_000])
@pytest.mark.parametrize("there", [False, True])
def test_a_full_disk_is_told_as_one(tmp_path, whole, most_bytes, there):
    """A limit on the size of files fails writes as a full disk does (setrlimit(2), EFBIG)."""
    wanted = []
    if there:
        (tmp_path / FILE_NAME).write_bytes(whole[0])
        wanted = whole[1]
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path), str(most_bytes)],
        capture_output=True, text=True, check=False, cwd=Path(__file__).parents[2],
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("\n") == 1
    assert "damaged" not in done.stdout
    assert os.strerror(errno.ENOENT) not in done.stdout
    assert content(tmp_path) in (wanted, [[], [], {}, [], [], [], None, []])


@pytest.mark.parametrize(
    "words", [["plan"], ["campaign", "--nights", "2"], ["sheet", "--output", "x.html"]]
)
def test_a_command_tells_a_damaged_journal_in_one_line(
    config_file, monkeypatch, capsys, whole, words
):
    monkeypatch.chdir(config_file.parent)
    path = config_file.parent / FILE_NAME
    path.write_bytes(whole[0][:20_000])
    assert run([*words, "--date", "2027-10-06"]) == 2
    shown = capsys.readouterr().err
    assert shown.count("\n") == 1
    assert FILE_NAME in shown
    assert path.read_bytes() == whole[0][:20_000]


def test_check_offers_and_restores_the_newest_good_backup(config_file, capsys, whole):
    folder = config_file.parent
    path = folder / FILE_NAME
    words = ["collect", "--check", "--config", str(config_file)]
    assert run(words) == 0
    assert "no such file" in capsys.readouterr().out
    path.write_bytes(whole[0])
    with Journal.open(folder, writable=True):
        pass
    assert run(words) == 0
    assert "sound" in capsys.readouterr().out
    path.write_bytes(whole[0][:30_000])
    assert run([*words, "--json"]) == 2
    shown = capsys.readouterr()
    found = json.loads(shown.out)
    assert shown.err.count("\n") == 1
    assert (found["journal"]["state"], found["kept"]) == ("faulty", None)
    assert found["newest_good"] == found["backups"][0]["file"]
    assert path.read_bytes() == whole[0][:30_000]
    assert run(words) == 2
    assert "--restore" in capsys.readouterr().out
    assert run([*words, "--restore", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["journal"]["state"], found["journal"]["subs"]) == ("sound", 60)
    assert Path(found["kept"]).read_bytes() == whole[0][:30_000]
    assert content(folder) == whole[1]
    assert run([*words, "--restore"]) == 2
    for faulty in (["--restore"], ["--check", "--restore", "--reseal"], ["--check", "x"], []):
        assert run(["collect", *faulty, "--config", str(config_file)]) == 2
