"""Files written whole or not at all, and read without surprises."""

from __future__ import annotations

import errno
import os
import re
import secrets
import stat
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from nightplan.errors import FileError
from nightplan.shown import ENCODING_ERRORS

MOST_BYTES = 64 * 2**20
"""Largest text file that is read: a star list of a million lines is smaller."""

# Short, so that it fits wherever the file's own name does; eight random hexadecimal digits.
_DRAFT = re.compile(r"\.nightplan-[0-9a-f]{8}\.part")
_STALE_S = 3600.0
"""A draft this old has no writer any more."""
_NO_HARD_LINKS = {
    errno.EPERM,
    errno.ENOTSUP,
    errno.EOPNOTSUPP,
    errno.ENOSYS,
    errno.EMLINK,
    errno.EINVAL,
}  # the last from Windows' ERROR_INVALID_FUNCTION
_NO_SYNC = {errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS}


def write_whole(path: str | os.PathLike[str], data: bytes | str, *, replace: bool = True) -> None:
    """Write `data` to `path` so that a reader sees the old file or the new one, never a part.

    Text is stored as UTF-8 with ``\\n`` line ends. A link is followed, and a file that is there
    keeps its mode bits. Whatever ends the writing, the draft beside the file is removed; drafts
    that a pulled plug left behind are swept by the next writing in that folder.

    Raises
    ------
    FileError
        The folder is missing or not writable, the file is read-only or no regular file, or
        `replace` is false and the file exists.
    """
    payload = data.encode("utf-8", ENCODING_ERRORS) if isinstance(data, str) else data
    try:
        target = Path(os.path.realpath(path))
        mode = _mode_to_keep(path, target)
        if mode is not None and not replace:
            raise FileError(path, "exists already and is left as it is")
        draft = target.with_name(f".nightplan-{secrets.token_hex(4)}.part")
        try:
            _write_draft(draft, payload, mode)
            _publish(draft, target, replace)
        finally:
            draft.unlink(missing_ok=True)
        _sweep(target.parent)
    except FileExistsError as error:
        raise FileError(path, "exists already and is left as it is") from error
    except (OSError, ValueError) as error:
        raise FileError(path, f"cannot be written: {reason_of(error)}") from error


def _mode_to_keep(path: str | os.PathLike[str], target: Path) -> int | None:
    """Mode bits of the file that is there; none where there is none."""
    try:
        status = target.stat()
    except FileNotFoundError:
        return None
    if not stat.S_ISREG(status.st_mode):
        kind = "a folder" if stat.S_ISDIR(status.st_mode) else "no regular file"
        raise FileError(path, f"cannot be written: is {kind}")
    # By its mode as well: a superuser may write all, but what is read-only was meant to stay.
    if not status.st_mode & 0o222 or not os.access(target, os.W_OK):
        raise FileError(path, "cannot be written: is read-only")
    return stat.S_IMODE(status.st_mode)


def _write_draft(draft: Path, payload: bytes, mode: int | None) -> None:
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    with os.fdopen(os.open(draft, flags, 0o666), "wb") as stream:
        stream.write(payload)
        stream.flush()
        try:
            os.fsync(stream.fileno())
        except OSError as error:
            if error.errno not in _NO_SYNC:
                raise
    if mode is not None:
        with suppress(OSError):  # memory sticks have no mode bits
            os.chmod(draft, mode)


def _publish(draft: Path, target: Path, replace: bool) -> None:
    if replace:
        os.replace(draft, target)
        return
    try:
        os.link(draft, target)
    except OSError as error:
        if error.errno not in _NO_HARD_LINKS:
            raise
        # Memory sticks have no hard links: the name is taken first, the content put in its place.
        os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666))
        try:
            os.replace(draft, target)
        except BaseException:
            target.unlink(missing_ok=True)
            raise


def _sweep(folder: Path) -> None:
    """Remove drafts that have no writer any more."""
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                if _DRAFT.fullmatch(entry.name):
                    age_s = time.time() - entry.stat(follow_symlinks=False).st_mtime
                    if age_s > _STALE_S:
                        os.unlink(entry.path)
    except OSError:
        pass  # the file itself is written; another writing will sweep


def check_ending(path: str | os.PathLike[str], what: str, endings: Sequence[str]) -> None:
    """Raise FileError unless the file's name ends in one of `endings`, upper or lower case."""
    if not Path(path).name.lower().endswith(tuple(endings)):
        raise FileError(path, f"{what}'s name must end in {' or '.join(endings)}")


def read_bytes(
    path: str | os.PathLike[str], most_bytes: int = MOST_BYTES, *, cut: bool = False
) -> bytes:
    """Return the bytes of a regular file of at most `most_bytes`; with `cut` the first ones.

    Raises
    ------
    FileError
        There is no such file, it is a pipe, device or folder, it is too large, or cannot be read.
    """
    try:
        # Without waiting: opening a pipe that nobody writes to would last for ever.
        flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        number = os.open(path, flags)
        try:
            if not stat.S_ISREG(os.fstat(number).st_mode):
                raise FileError(path, "cannot be read: is no regular file")
            with open(number, "rb", closefd=False) as stream:
                data = stream.read(most_bytes + 1)
        finally:
            os.close(number)
    except (OSError, ValueError) as error:
        raise FileError(path, f"cannot be read: {reason_of(error)}") from error
    if cut:
        return data[:most_bytes]
    if len(data) > most_bytes:
        raise FileError(path, f"is larger than {most_bytes // 2**20} MiB")
    return data


def read_text(path: str | os.PathLike[str], most_bytes: int = MOST_BYTES) -> str:
    """Return the UTF-8 text of a file; raises as `read_bytes`, and for what is no UTF-8.

    The byte order mark that some editors put first is left out. Line ends become ``\\n``.
    """
    data = read_bytes(path, most_bytes)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise FileError(path, f"is not UTF-8 text (byte {error.start})") from error
    return text.replace("\r\n", "\n").replace("\r", "\n")


def reason_of(error: OSError | ValueError) -> str:
    """What the system says, without the path."""
    return (getattr(error, "strerror", None) or str(error)).lower()
