"""The field sheet offered to a phone on the local network, for as long as it is asked to.

Nothing but this one page is served, under one path that nobody can guess; there is no listing,
nothing is taken in, and only addresses of a local network are answered.
"""

from __future__ import annotations

import ipaddress
import secrets
import socket
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from nightplan.errors import NightplanError

NO_NETWORK = "no local network was found: join the phone's or the router's first, or copy the file"


class SheetServer:
    """Serves one file; the file is read at each request, so that a rewritten sheet is seen.

    Parameters
    ----------
    file : path
    host : str, optional
        The address to listen on; else that of this computer in the local network.

    Raises
    ------
    NightplanError
        There is no local network.
    """

    def __init__(self, file: Path, host: str | None = None) -> None:
        self.path = "/" + secrets.token_urlsafe(16)
        self._server = ThreadingHTTPServer((host or local_address(), 0), _handler(file, self.path))

    @property
    def url(self) -> str:
        """The address to open on the phone."""
        host, port = self._server.server_address[:2]
        return f"http://{host!s}:{port}{self.path}"

    def serve(self) -> None:
        """Answer until an exception ends it, such as Ctrl-C."""
        try:
            self._server.serve_forever()
        finally:
            self._server.server_close()

    def stop(self) -> None:
        """End `serve` from another thread."""
        self._server.shutdown()


def _handler(file: Path, path: str) -> type[BaseHTTPRequestHandler]:
    class OnePage(BaseHTTPRequestHandler):
        server_version = "sheet"
        sys_version = ""

        def do_GET(self) -> None:
            self._answer(body=True)

        def do_HEAD(self) -> None:
            self._answer(body=False)

        def _answer(self, *, body: bool) -> None:
            near = ipaddress.ip_address(self.client_address[0])
            if self.path != path or not (near.is_private or near.is_loopback):
                self.send_error(404)
                return
            try:
                page = file.read_bytes()
            except OSError:
                self.send_error(404)
                return
            self.send_response(200)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.send_header("Content-Length", str(len(page)))
            self.send_header("Cache-Control", "no-store")
            self.send_header("Referrer-Policy", "no-referrer")
            self.send_header("X-Content-Type-Options", "nosniff")
            self.end_headers()
            if body:
                self.wfile.write(page)

        def log_message(self, format: str, *args: object) -> None:
            """Say nothing: the screen holds the code to scan."""

    return OnePage


def local_address() -> str:
    """This computer's address in the local network.

    Raises
    ------
    NightplanError
        It has none, or one that the whole internet sees.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Asks the system which way it would send; nothing is sent.
            probe.connect(("10.255.255.255", 1))
            found = str(probe.getsockname()[0])
        except OSError as error:
            raise NightplanError(NO_NETWORK) from error
    address = ipaddress.ip_address(found)
    if address.is_loopback or address.is_unspecified or not address.is_private:
        raise NightplanError(NO_NETWORK)
    return found


def qr_lines(text: str) -> list[str]:
    """A QR code (ISO/IEC 18004) for a terminal, two rows of modules a line; red on black."""
    import segno

    code = segno.make(text, error="m", micro=False)
    rows = [[not module for module in row] for row in code.matrix_iter(border=2)]
    if len(rows) % 2:
        rows.append([False] * len(rows[0]))
    signs = {(True, True): "█", (True, False): "▀", (False, True): "▄", (False, False): " "}
    lines = [
        "".join(signs[upper, lower] for upper, lower in zip(above, below, strict=True))
        for above, below in zip(rows[::2], rows[1::2], strict=True)
    ]
    return [f"\x1b[31;40m{line}\x1b[0m" for line in lines]


def serve_sheet(
    file: Path,
    tell: Callable[[str], None],
    *,
    stopped_by: tuple[type[BaseException], ...] = (KeyboardInterrupt,),
) -> None:
    """Show the address and its QR code, and serve the sheet until Ctrl-C.

    Raises
    ------
    NightplanError
        There is no local network.
    """
    server = SheetServer(file)
    for line in qr_lines(server.url):
        tell(line)
    tell(f"Open on the phone, in the same network: {server.url}")
    tell("Keep it there with the browser's own saving; Ctrl-C ends this.")
    try:
        server.serve()
    except stopped_by:
        tell("No longer offered.")
