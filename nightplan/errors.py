"""The errors that nightplan raises for bad input; each reads as one clear line."""

from __future__ import annotations

from collections.abc import Sequence


class NightplanError(Exception):
    """Base of every error that a user can cause and mend; its text is one line."""

    def __init__(self, message: str) -> None:
        super().__init__(" ".join(message.split()))


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
        super().__init__(f"{source}: {key} = {value!r}: accepted is {accepted}")


class ConfigError(InputError):
    """A key of the configuration file holds a value outside its accepted range."""


class UnknownKeyError(NightplanError):
    """The configuration holds a key that nightplan does not know."""

    def __init__(self, source: str, key: str, nearest: Sequence[str], value: object) -> None:
        self.source = source
        self.key = key
        self.nearest = tuple(nearest)
        hint = f"; the nearest valid key is {nearest[0]}" if nearest else ""
        super().__init__(f"{source}: {key} = {value!r}: no such key{hint}")


class TargetError(NightplanError):
    """A target's name is unknown or fits several objects."""

    def __init__(self, query: str, suggestions: Sequence[str] = (), ambiguous: bool = False):
        self.query = query
        self.suggestions = tuple(suggestions)
        self.ambiguous = ambiguous
        what = "fits several targets" if ambiguous else "is not in the catalogue"
        hint = ""
        if self.suggestions:
            hint = f"; {'one of' if ambiguous else 'near it'}: {', '.join(self.suggestions)}"
        super().__init__(f"target {query!r} {what}{hint}")


class FileError(NightplanError):
    """A file cannot be read, written, or is not what it should be."""

    def __init__(self, path: object, problem: str) -> None:
        self.path = str(path)
        super().__init__(f"{path}: {problem}")
