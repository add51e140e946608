r"""Text that is safe to show: on a terminal, in a message, in a document.

Characters that a terminal or a page obeys instead of drawing are written as ``\uXXXX``: controls
(C0, C1, DEL), line and paragraph separators, the marks that turn the direction of reading, what
is invisible by purpose, and lone surrogates, by which Python stands for bytes of a file name that
are no text. JSON reads the same escapes, so a document stays a document.
"""

from __future__ import annotations

import codecs
import re

_OBEYED = (
    "\x00-\x1f\x7f-\x9f\xad"  # controls, soft hyphen
    "\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f"  # direction marks, invisible signs
    "\ufeff\ufff9-\ufffb"  # byte order mark, annotations
    "\ud800-\udfff"  # surrogates
    "\U000e0000-\U000e007f"  # tags
)
_OBEYED_SIGN = re.compile(f"[{_OBEYED}]")
_BUT_LINES = re.compile(f"(?![\n\t])[{_OBEYED}]")
_BUT_LINES_AND_RETURNS = re.compile(f"(?![\n\t\r])[{_OBEYED}]")

MOST_MESSAGE = 2000
"""Characters of a whole message; a terminal of 80 columns shows them in 25 lines."""
MOST_PIECE = 300
"""Characters of one piece of a message: a path, a key, the list of what is accepted."""
MOST_VALUE = 100
"""Characters of a value that was given."""

ENCODING_ERRORS = "nightplan_escape"
"""Name of the codec error handler that writes what an encoding lacks as ``\\uXXXX``."""


def escaped(text: str, *, lines: bool = False, returns: bool = False) -> str:
    r"""The text with all that is obeyed instead of drawn as ``\uXXXX``.

    With `lines` line ends and tabs stay, with `returns` carriage returns as well.
    """
    rule = _BUT_LINES_AND_RETURNS if returns else _BUT_LINES if lines else _OBEYED_SIGN
    return rule.sub(lambda found: _escape(found.group()), text)


def is_drawn(text: str) -> bool:
    """Whether every character of a text is drawn, so that it may serve as a name."""
    return _OBEYED_SIGN.search(text) is None


def shortened(text: str, most: int = MOST_PIECE) -> str:
    """The text, its middle left out if it is longer than `most` characters."""
    if len(text) <= most:
        return text
    tail = most // 3
    return f"{text[: most - tail - 1]}…{text[len(text) - tail :]}"


def piece(text: object, most: int = MOST_PIECE) -> str:
    """A path, key or name as a piece of a message: shortened and escaped."""
    return escaped(shortened(str(text), most))


def value_words(value: object) -> str:
    """A given value as a piece of a message: its `repr`, shortened and escaped."""
    try:
        text = repr(value[: MOST_VALUE + 1] if isinstance(value, (str, bytes, list)) else value)
    except Exception:  # integers of thousands of digits raise ValueError, foreign objects anything
        text = f"a value of type {type(value).__name__}"
    return piece(text, MOST_VALUE)


def one_line(message: str) -> str:
    """A whole message on one line, shortened and escaped."""
    return escaped(re.sub(r"\s*[\r\n]\s*", " ", shortened(message.strip(), MOST_MESSAGE)))


def _escape(text: str) -> str:
    # Characters beyond U+FFFF as a pair of surrogates, as JSON wants them (RFC 8259, section 7).
    units = text.encode("utf-16-be", "surrogatepass")
    pairs = (units[at : at + 2] for at in range(0, len(units), 2))
    return "".join(f"\\u{int.from_bytes(pair, 'big'):04x}" for pair in pairs)


def _escape_unencodable(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return _escape(error.object[error.start : error.end]), error.end


codecs.register_error(ENCODING_ERRORS, _escape_unencodable)
