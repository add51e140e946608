"""Subs that were really shot, as told by filter or by target and filter."""

from __future__ import annotations

from collections.abc import Callable, Container, Mapping, Sequence
from typing import TYPE_CHECKING

from nightplan.errors import InputError
from nightplan.planning.photons.sub_sets import set_name

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.planning.schedule.problem import Problem

DoneKey = str | tuple[str, str]
"""A filter (of whatever target), or a target and its filter; ``L short`` are the short subs."""
Done = Mapping[DoneKey, int]


def done_key(problem: Problem, task: int, done: Container[DoneKey]) -> DoneKey | None:
    """The key of `done` that counts a task's subs; None where none does."""
    row = problem.tasks[task]
    own = (problem.pointings[row.pointing].target, row.set_name)
    if own in done:
        return own
    return row.set_name if row.set_name in done else None


def done_words(key: DoneKey) -> str:
    """``L``, or ``M 31:L``, as the command line takes it."""
    return key if isinstance(key, str) else ":".join(key)


def parse_done(
    config: Config, items: Sequence[str], target_name: Callable[[str], str] | None = None
) -> dict[DoneKey, int]:
    """Read `FILTER=COUNT` and `TARGET:FILTER=COUNT` items; counts of one key add up.

    Parameters
    ----------
    target_name : callable, optional
        Gives the catalogue's name for what was typed; raises TargetError for what it is not.

    Raises
    ------
    InputError
        An unknown filter, a bad count, or a filter both with a target and without one.
    """
    counts: dict[DoneKey, int] = {}
    for item in items:
        # A filter's or target's own name may hold a colon, a blank or a sign of equality.
        name, _, number = item.rpartition("=")
        key = _key(config, name)
        if key is None or not (number.isascii() and number.isdigit()):
            first = next(iter(config.filter))
            accepted = (
                f"FILTER=COUNT or TARGET:FILTER=COUNT, a filter of {', '.join(config.filter)} and "
                f"a whole number from 0, such as {first}=18"
            )
            raise InputError("library", "done", item, accepted)
        if not isinstance(key, str) and target_name is not None:
            key = (target_name(key[0]), key[1])
        counts[key] = counts.get(key, 0) + int(number)
    check_done(counts)
    return counts


def check_done(done: Done) -> None:
    """Raise InputError where a filter is counted both for a target and for all of them."""
    for key in done:
        if not isinstance(key, str) and key[1] in done:
            accepted = f"either {key[1]}=COUNT for all targets or TARGET:{key[1]}=COUNT for each"
            raise InputError("library", "done", done_words(key), accepted)


def _key(config: Config, name: str) -> DoneKey | None:
    sets = [*config.filter, *(set_name(own, True) for own in config.filter)]
    if name in sets:
        return name
    fits = [own for own in sets if name.endswith(f":{own}")]
    own = max(fits, key=len, default="")
    target = name[: len(name) - len(own) - 1].strip()
    return (target, own) if own and target else None
