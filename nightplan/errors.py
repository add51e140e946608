"""The errors that nightplan raises for bad input; each reads as one clear line."""

from __future__ import annotations

from collections.abc import Sequence

from nightplan.shown import one_line, piece, value_words


class NightplanError(Exception):
    """Base of every error that a user can cause and mend; its text is one line, safe to show."""

    def __init__(self, message: str) -> None:
        super().__init__(one_line(message))


class InputError(NightplanError):
    """A value that was given is not one that can be used.

    Attributes
    ----------
    source : str
        The file, or the command-line option, that the value came from.
    key : str
        Dotted key inside the source.
    value : object
        What was given.
    accepted : str
        What would have been accepted.
    """

    def __init__(self, source: str, key: str, value: object, accepted: str) -> None:
        self.source = source
        self.key = key
        self.value = value
        self.accepted = accepted
        super().__init__(
            f"{piece(source)}: {piece(key)} = {value_words(value)}: "
            f"accepted is {piece(accepted, 600)}"
        )


class ConfigError(InputError):
    """A key of the configuration file holds a value outside its accepted range."""


class UnknownKeyError(NightplanError):
    """The configuration holds a key that nightplan does not know."""

    def __init__(self, source: str, key: str, nearest: Sequence[str], value: object) -> None:
        self.source = source
        self.key = key
        self.nearest = tuple(nearest)
        hint = f"; the nearest valid key is {piece(nearest[0])}" if nearest else ""
        super().__init__(f"{piece(source)}: {piece(key)} = {value_words(value)}: no such key{hint}")


class TargetError(NightplanError):
    """A target's name is unknown or fits several objects."""

    def __init__(self, query: str, suggestions: Sequence[str] = (), ambiguous: bool = False):
        self.query = query
        self.suggestions = tuple(suggestions)
        self.ambiguous = ambiguous
        what = "fits several targets" if ambiguous else "is not in the catalogue"
        hint = ""
        if self.suggestions:
            hint = f"; {'one of' if ambiguous else 'near it'}: {piece(', '.join(self.suggestions))}"
        super().__init__(f"target {value_words(query)} {what}{hint}")


class NameWarning(UserWarning):
    """A target's name fits several objects, and was taken for the one that it is known for."""


class FileError(NightplanError):
    """A file cannot be read, written, or is not what it should be."""

    def __init__(self, path: object, problem: str) -> None:
        self.path = str(path)
        self.problem = problem
        super().__init__(f"{piece(path)}: {piece(problem, 600)}")


class NumericError(NightplanError):
    """Values that are each within their range together leave what can be computed with."""

    def __init__(self, problem: str, place: str) -> None:
        self.problem = problem
        self.place = place
        super().__init__(
            f"numbers leave what can be computed with ({problem}, in {place}): a value of the "
            "configuration or of the call is far from any real rig, site or target"
        )
