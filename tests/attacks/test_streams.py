"""Standard streams of any encoding, full, closed, or with a reader that leaves; hostile text."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightplan.cli.main import run
from nightplan.errors import ConfigError, FileError, InputError, TargetError, UnknownKeyError
from nightplan.shown import escaped, is_drawn, one_line

NIGHTPLAN = [sys.executable, "-m", "nightplan"]
NIGHT = ["night", "--date", "2027-10-06"]


def shell(script: str, folder: Path, **environment: str) -> subprocess.CompletedProcess[bytes]:
    script = f"nightplan() {{ '{sys.executable}' -m nightplan \"$@\"; }}\n{script}"
    root = str(Path(__file__).parents[2])
    return subprocess.run(
        ["bash", "-c", script], cwd=folder, capture_output=True, check=False, timeout=120,
        env={**os.environ, "PYTHONPATH": root, **environment},
    )  # fmt: skip


@pytest.mark.parametrize(
    "tail",
    ["| true; exit ${PIPESTATUS[0]}", "| head -1; exit ${PIPESTATUS[0]}", ">&-", "<&- >&- 2>&-"],
)
def test_a_reader_that_leaves_is_no_fault(config_file, tail):
    done = shell(f"nightplan night --date 2027-10-06 {tail}", config_file.parent)
    assert done.returncode == 0, done.stderr
    assert done.stderr == b""


def test_a_closed_output_is_not_taken_for_the_journal(config_file):
    """Descriptor 1 is free then, and the next file opened would get it."""
    script = "nightplan frame 'M 31' --date 2027-10-06 --record --goal L=5 >&-"
    done = shell(script, config_file.parent)
    assert (done.returncode, done.stderr) == (0, b"")
    done = shell("nightplan frame 'M 31' --date 2027-10-06 --record --json", config_file.parent)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp437", "utf-16"])
def test_an_encoding_that_lacks_signs_is_no_fault(config_file, encoding):
    folder = config_file.parent
    text = config_file.read_text(encoding="utf-8").replace("Hollow Ridge", "Höhle 洞 𝔸 −1′")
    config_file.write_text(text, encoding="utf-8")
    done = shell("nightplan night --date 2027-10-06", folder, PYTHONIOENCODING=encoding)
    assert (done.returncode, done.stderr) == (0, b"")
    done.stdout.decode(encoding)
    done = shell("nightplan night --date 2027-10-06 --json", folder, PYTHONIOENCODING=encoding)
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout.decode(encoding))["site"] == "Höhle 洞 𝔸 −1′"


HOSTILE = "\x1b]0;title\x07\x9b2J\u202egnp.\u2066\udcff\U000e0041\r\b"


@pytest.mark.parametrize(
    "words",
    [
        ["night", "--config", HOSTILE.replace("\udcff", "")],
        ["night", "--date", HOSTILE],
        ["frame", HOSTILE],
        ["frame", "M 31", "--train", HOSTILE],
        ["frame", "M 31", "--header", f"{HOSTILE}.txt"],
        ["plan", "--export", HOSTILE],
        ["plan", "--from", HOSTILE],
        ["collect", HOSTILE],
        ["angle", "--solution", HOSTILE],
        ["night", f"--{HOSTILE}"],
        [HOSTILE],
    ],
    ids=lambda words: "-".join(word for word in words if word.isascii() and word.isprintable()),
)
def test_hostile_words_are_shown_escaped(config_file, words):
    words = [*words] if "--config" in words else [*words, "--config", str(config_file)]
    done = subprocess.run(
        [*NIGHTPLAN, *(os.fsencode(word) if "\udcff" in word else word for word in words)],
        cwd=config_file.parent, capture_output=True, check=False, timeout=60,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )  # fmt: skip
    assert done.returncode == 2
    shown = done.stderr.decode("utf-8")
    assert "Traceback" not in shown
    assert escaped(shown, lines=True) == shown
    assert len(shown) < 2500


@given(st.text(), st.booleans(), st.booleans())
@settings(max_examples=200)
def test_escaped_text_is_drawn_and_can_be_encoded(text, lines, returns):
    shown = escaped(text, lines=lines, returns=returns)
    shown.encode("utf-8")
    assert is_drawn(escaped(shown))
    # JSON reads the same escapes (RFC 8259, section 7).
    assert json.loads(escaped(json.dumps(text, ensure_ascii=False))) == text


@pytest.mark.parametrize(
    "error",
    [
        lambda text: FileError(text, text),
        lambda text: InputError(text, text, text, text),
        lambda text: ConfigError(text, text, [text] * 1000, text),
        lambda text: InputError("x", "y", 10**5000, "z"),
        lambda text: TargetError(text, [text] * 1000),
        lambda text: UnknownKeyError(text, text, [text], text),
    ],
)
@pytest.mark.parametrize("text", [HOSTILE, "x" * 3_000_000, "a\nb\r\nc", "\udcff" * 500])
def test_every_error_is_one_short_line(error, text):
    shown = str(error(text))
    assert len(shown) < 6000  # each escaped sign takes six
    assert is_drawn(shown)
    assert one_line(shown) == shown


def test_an_unforeseen_fault_is_one_line(config_file, monkeypatch, capsys, tmp_path):
    def fail(*args, **kwargs):
        raise LookupError("a fault \x1b put in\nby this test")

    monkeypatch.setattr("nightplan.library.inputs.planned_night", fail)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    words = [*NIGHT, "--config", str(config_file)]
    assert run(words) == 70  # EX_SOFTWARE of the BSD header sysexits.h
    shown = capsys.readouterr().err
    assert shown.count("\n") == 1
    assert "LookupError: a fault \\u001b put in by this test" in shown
    assert "--debug" in shown
    for debugging in (["--debug", *words], [*words, "--debug"]):
        assert run(debugging) == 70
        shown = capsys.readouterr().err
        assert shown.count("\n") == 1
        report = Path(shown.rstrip("\n").rpartition("report: ")[2])
        text = report.read_text(encoding="utf-8")
        assert "Traceback" in text
        assert "put in" in text
        assert "latitude_deg" not in text


def test_numbers_out_of_bounds_are_a_named_error(config_file, monkeypatch, capsys):
    import numpy as np

    def overflow(*args, **kwargs):
        return np.exp(np.float64(1e9))

    monkeypatch.setattr("nightplan.library.inputs.planned_night", overflow)
    assert run([*NIGHT, "--config", str(config_file)]) == 2
    assert "overflow encountered in exp" in capsys.readouterr().err
