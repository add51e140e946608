"""Files written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from pathlib import Path

from nightplan.errors import FileError


def write_whole(path: str | os.PathLike[str], data: bytes | str, *, replace: bool = True) -> None:
    """Write `data` to `path` so that a reader sees the old file or the new one, never a part.

    Text is stored as UTF-8 with ``\\n`` line ends.

    Raises
    ------
    FileError
        The folder is missing or not writable, or `replace` is false and the file exists.
    """
    target = Path(path)
    payload = data.encode("utf-8") if isinstance(data, str) else data
    try:
        handle, draft = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
    except OSError as error:
        raise FileError(target, f"cannot be written: {_reason(error)}") from error
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(payload)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(draft, 0o666 & ~_umask())
        if replace:
            os.replace(draft, target)
        else:
            try:
                os.link(draft, target)
            finally:
                os.unlink(draft)
    except FileExistsError as error:
        raise FileError(target, "exists already and is left as it is") from error
    except OSError as error:
        Path(draft).unlink(missing_ok=True)
        raise FileError(target, f"cannot be written: {_reason(error)}") from error


def check_ending(path: str | os.PathLike[str], what: str, endings: Sequence[str]) -> None:
    """Raise FileError unless the file's name ends in one of `endings`, upper or lower case."""
    if not Path(path).name.lower().endswith(tuple(endings)):
        raise FileError(path, f"{what}'s name must end in {' or '.join(endings)}")


def read_text(path: str | os.PathLike[str]) -> str:
    """Return the UTF-8 text of a file; raises `FileError` when that is not possible.

    The byte order mark that some editors put first is left out.
    """
    try:
        return Path(path).read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise FileError(path, f"is not UTF-8 text (byte {error.start})") from error
    except OSError as error:
        raise FileError(path, f"cannot be read: {_reason(error)}") from error


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
