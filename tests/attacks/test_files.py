"""Files are written whole or not at all, whatever the file system or a signal does."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from nightplan.cli.stopping import StoppedError
from nightplan.errors import FileError
from nightplan.files import read_text, write_whole


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.mark.parametrize("stop", [KeyboardInterrupt(), StoppedError(15), MemoryError(), OSError()])
@pytest.mark.parametrize("call", ["fsync", "replace", "chmod"])
def test_a_draft_is_removed_on_any_exit(tmp_path, monkeypatch, call, stop):
    target = tmp_path / "plan.json"
    target.write_text("old")

    def fail(*args, **kwargs):
        raise stop

    monkeypatch.setattr(os, call, fail)
    if call == "chmod" and isinstance(stop, OSError):
        write_whole(target, "new")  # a file system without mode bits is no fault
        assert target.read_text() == "new"
    else:
        with pytest.raises((type(stop), FileError)):
            write_whole(target, "new")
        assert target.read_text() == "old"
    assert names(tmp_path) == ["plan.json"]


def test_stale_drafts_are_swept_and_young_ones_are_not(tmp_path):
    stale, young, other = (
        tmp_path / name
        for name in (".nightplan-0123abcd.part", ".nightplan-99999999.part", ".nightplan-x.part")
    )
    for path in (stale, young, other):
        path.write_text("x")
    for path in (stale, other):
        os.utime(path, (time.time() - 7200.0,) * 2)
    write_whole(tmp_path / "a.txt", "a")
    assert names(tmp_path) == sorted([young.name, other.name, "a.txt"])


@pytest.mark.parametrize("fault", [errno.EPERM, errno.ENOTSUP, errno.ENOSYS, errno.EINVAL])
def test_a_file_system_without_hard_links_serves(tmp_path, monkeypatch, fault):
    """FAT and exFAT answer link(2) with EPERM (Linux man-pages, link(2)), Windows with
    ERROR_INVALID_FUNCTION, which Python turns into EINVAL (winerror 1)."""

    def refuse(*args, **kwargs):
        raise OSError(fault, os.strerror(fault))

    monkeypatch.setattr(os, "link", refuse)
    monkeypatch.setattr(os, "chmod", refuse)
    target = tmp_path / "nightplan.toml"
    write_whole(target, "one", replace=False)
    assert target.read_text() == "one"
    with pytest.raises(FileError, match="exists already and is left as it is"):
        write_whole(target, "two", replace=False)
    write_whole(target, "three")
    assert target.read_text() == "three"
    assert names(tmp_path) == ["nightplan.toml"]


def test_a_name_of_255_bytes_is_written(tmp_path):
    target = tmp_path / ("n" * 251 + ".ics")
    write_whole(target, "x")
    assert names(tmp_path) == [target.name]


@pytest.mark.posix
def test_a_link_is_followed_and_mode_bits_stay(tmp_path):
    real, link = tmp_path / "real.json", tmp_path / "link.json"
    real.write_text("old")
    real.chmod(0o640)
    link.symlink_to(real.name)
    write_whole(link, "new")
    assert link.is_symlink()
    assert real.read_text() == "new"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640
    dangling = tmp_path / "dangling.json"
    dangling.symlink_to("made.json")
    write_whole(dangling, "made")
    assert (tmp_path / "made.json").read_text() == "made"


@pytest.mark.posix
def test_a_new_file_takes_the_umask(tmp_path):
    before = os.umask(0o027)
    try:
        write_whole(tmp_path / "a", "a")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o640


@pytest.mark.posix
def test_what_is_no_writable_regular_file_is_refused(tmp_path):
    kept = tmp_path / "kept.json"
    kept.write_text("kept")
    kept.chmod(0o444)
    with pytest.raises(FileError, match="read-only"):
        write_whole(kept, "new")
    assert kept.read_text() == "kept"
    os.mkfifo(tmp_path / "pipe")
    loop = tmp_path / "loop"
    loop.symlink_to("loop")
    for path, words in (
        (tmp_path / "pipe", "no regular file"),
        (Path(os.devnull), "no regular file"),
        (tmp_path, "a folder"),
        (loop, "loop|exists|symbolic"),
        (kept / "x", "not a directory"),
        (tmp_path / "no" / "x", "no such file"),
        (tmp_path / "a\0b", "null"),
        (tmp_path / ("n" * 300), "too long"),
    ):
        with pytest.raises(FileError, match=words):
            write_whole(path, "new")
    assert stat.S_ISCHR(os.stat(os.devnull).st_mode)


@pytest.mark.posix
def test_what_is_no_regular_text_is_refused_at_once(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "bytes").write_bytes(b"caf\xe9")
    with (tmp_path / "huge").open("wb") as stream:
        stream.truncate(2**40)  # sparse: a tebibyte that takes no room
    for path, words in (
        (tmp_path / "pipe", "no regular file"),
        (Path("/dev/zero"), "no regular file"),
        (tmp_path, "no regular file"),
        (tmp_path / "bytes", "not UTF-8 text .byte 3."),
        (tmp_path / "huge", "larger than 64 MiB"),
        (tmp_path / "a\0b", "null"),
    ):
        with pytest.raises(FileError, match=words):
            read_text(path)


WRITER = """
import os, sys
from nightplan.files import write_whole
calls = int(sys.argv[2])
def watched(name):
    real = getattr(os, name)
    def call(*args, **kwargs):
        global calls
        calls -= 1
        if calls == 0:
            os.kill(os.getpid(), 9)
        return real(*args, **kwargs)
    setattr(os, name, call)
for name in ("open", "fsync", "chmod", "replace", "link", "unlink", "scandir"):
    watched(name)
for number in range(3):
    write_whole(sys.argv[1], f"whole {number}" * 1000)
    print(number, flush=True)
"""


@pytest.mark.posix
@pytest.mark.parametrize("calls", [1, 2, 3, 4, 6, 8, 11])
def test_killed_at_each_step_of_a_write(tmp_path, calls):
    """SIGKILL before the n-th call to the system: the file is an old one or a new one, whole."""
    target = tmp_path / "plan.json"
    target.write_text("whole old")
    done = subprocess.run(
        [sys.executable, "-c", WRITER, str(target), str(calls)],
        capture_output=True, text=True, cwd=Path(__file__).parents[2], check=False,
    )  # fmt: skip
    assert done.returncode in (0, -9), done.stderr
    confirmed = len(done.stdout.split())
    wanted = ["whole old", *(f"whole {number}" * 1000 for number in range(3))]
    assert wanted.index(target.read_text()) >= confirmed
