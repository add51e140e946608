"""The sheet on the local network: one path, nothing else, only neighbours; the code to scan.

Status codes by RFC 9110. The loopback test runs in a process of its own: tests here open nothing.
"""

from __future__ import annotations

import io
import re
import subprocess
import sys
from pathlib import Path

import pytest

from nightplan.errors import NightplanError
from nightplan.library import serving

PAGE = "<!doctype html><title>Sheet</title>"


class Request:
    """A connection that holds one request and keeps what is sent."""

    def __init__(self, text: str) -> None:
        self.text = text.encode()
        self.sent = b""

    def makefile(self, mode: str, size: int = -1) -> io.BytesIO:
        return io.BytesIO(self.text)

    def sendall(self, data: bytes) -> None:
        self.sent += bytes(data)


def answer(file: Path, line: str, client: str = "192.168.1.20") -> tuple[int, str]:
    request = Request(f"{line} HTTP/1.1\r\nHost: x\r\n\r\n")
    serving._handler(file, "/right")(request, (client, 5000), None)  # type: ignore[arg-type]
    head, _, body = request.sent.decode().partition("\r\n\r\n")
    return int(head.split()[1]), body


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "sheet.html"
    path.write_text(PAGE, encoding="utf-8")
    (tmp_path / "nightplan.toml").write_text("secret", encoding="utf-8")
    return path


def test_one_path_and_nothing_else(file: Path) -> None:
    assert answer(file, "GET /right") == (200, PAGE)
    assert answer(file, "HEAD /right") == (200, "")
    for path in (
        "/",
        "/right/",
        "/right?x",
        "/sheet.html",
        "/nightplan.toml",
        "/../right",
    ):
        status, body = answer(file, f"GET {path}")
        assert status == 404
        assert "secret" not in body
        assert "sheet.html" not in body
    for method in ("POST", "PUT", "DELETE", "OPTIONS"):
        assert answer(file, f"{method} /right")[0] == 501


def test_a_rewritten_sheet_is_seen_and_a_missing_one_is_not_there(file: Path) -> None:
    file.write_text("new", encoding="utf-8")
    assert answer(file, "GET /right") == (200, "new")
    file.unlink()
    assert answer(file, "GET /right")[0] == 404


@pytest.mark.parametrize(
    ("client", "status"),
    # RFC 1918 and RFC 4193 for what is local; 203.0.114.9 is public.
    [("10.1.2.3", 200), ("172.16.0.9", 200), ("fd00::7", 200), ("203.0.114.9", 404)],
)
def test_only_neighbours_are_answered(file: Path, client: str, status: int) -> None:
    assert answer(file, "GET /right", client)[0] == status


def test_without_a_network_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    class Probe:
        def __init__(self, found: str) -> None:
            self.found = found

        def __enter__(self) -> Probe:
            return self

        def __exit__(self, *args: object) -> None:
            pass

        def connect(self, address: object) -> None:
            if not self.found:
                raise OSError("unreachable")

        def getsockname(self) -> tuple[str, int]:
            return self.found, 0

    for found in ("", "127.0.0.1", "203.0.114.9"):
        monkeypatch.setattr(serving.socket, "socket", lambda *args, found=found: Probe(found))
        with pytest.raises(NightplanError, match="no local network"):
            serving.local_address()
    monkeypatch.setattr(serving.socket, "socket", lambda *args: Probe("192.168.1.4"))
    assert serving.local_address() == "192.168.1.4"


def test_the_code_is_that_of_the_address() -> None:
    import segno

    text = "http://192.168.1.4:40001/abcdefghijklmnop"
    lines = serving.qr_lines(text)
    assert all(line.startswith("\x1b[31;40m") and line.endswith("\x1b[0m") for line in lines)
    rows: list[list[bool]] = []
    for line in lines:
        plain = re.sub(r"\x1b\[[\d;]*m", "", line)
        rows.append([sign in "█▀" for sign in plain])
        rows.append([sign in "█▄" for sign in plain])
    wanted = [[not dark for dark in row] for row in
              segno.make(text, error="m", micro=False).matrix_iter(border=2)]  # fmt: skip
    assert rows[: len(wanted)] == wanted
    assert max(len(row) for row in rows) < 80


def test_end_to_end_over_the_loopback(file: Path) -> None:
    script = f"""
import threading, urllib.request, urllib.error
from pathlib import Path
from nightplan.library.serving import SheetServer
server = SheetServer(Path({str(file)!r}), host="127.0.0.1")
other = SheetServer(Path({str(file)!r}), host="127.0.0.1")
assert server.path != other.path and len(server.path) > 20
threading.Thread(target=server.serve).start()
try:
    with urllib.request.urlopen(server.url) as found:
        print(found.status, found.headers["Content-Type"], found.read().decode())
    try:
        urllib.request.urlopen(server.url.rsplit("/", 1)[0] + "/")
    except urllib.error.HTTPError as error:
        print(error.code)
finally:
    server.stop()
"""
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [f"200 text/html; charset=utf-8 {PAGE}", "404"]
