"""What was ticked off on the field sheet, as subs of the journal until their files are there.

A tick says that a block was shot, not which files came of it. So files stand above ticks: of each
evening, target, panel and filter the ticks count only for the subs that no file in the journal
stands for, and a file that is collected later takes the place of one ticked sub.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from nightplan.dates import DAY_S
from nightplan.errors import FileError, InputError
from nightplan.journal.records import CalibrationFrame, Sub
from nightplan.sky.times import mjd_from_iso

if TYPE_CHECKING:
    from nightplan.journal.journal import Journal
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config

PREFIX = "tick-"
"""Begins the identity of a sub that is known from a tick alone."""
REPLACED = "its file is in the journal"

Group = tuple[date, str, int, str, float]


class TickedBlock(BaseModel):
    """A block of subs that was ticked off."""

    model_config = ConfigDict(extra="ignore", strict=True, allow_inf_nan=False)

    target: str
    panel: Annotated[int, Field(ge=1, le=100)]
    train: str
    filter: str
    gain: str
    sub_s: Annotated[float, Field(gt=0.0, le=86400.0)]
    count: Annotated[int, Field(ge=0, le=10_000)]
    start_utc: str
    end_utc: str


class TicksPage(BaseModel):
    """The file that the sheet writes."""

    model_config = ConfigDict(extra="ignore", strict=True)

    document: Literal["ticks"]
    site: str
    rig: str
    date: str
    shot: list[TickedBlock]


def read_ticks(source: str, text: str, config: Config, catalog: Catalog) -> list[Sub]:
    """Subs that a file of ticks tells of, in order of time.

    Raises FileError (the text is no file of ticks), InputError (a value cannot be used, or the
    ticks are of another site, rig or wheel) and TargetError (a target is unknown).
    """
    try:
        page = TicksPage.model_validate(json.loads(text))
        evening = date.fromisoformat(page.date)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "document"
        raise InputError(source, where, first["input"], first["msg"].lower()) from None
    except (ValueError, RecursionError) as error:
        problem = "is no file of ticks; the field sheet writes one as What I did"
        raise FileError(source, problem) from error
    for key, given, own in (
        ("site", page.site, config.site.name),
        ("rig", page.rig, config.rig_name),
    ):
        if given != own:
            raise InputError(source, key, given, f"ticks of {config.path}: {own}")
    found: list[Sub] = []
    for number, block in enumerate(page.shot, start=1):
        where = f"shot.{number}"
        for key, name, own_names in (
            ("filter", block.filter, config.filter),
            ("train", block.train, config.train),
        ):
            if name not in own_names:
                raise InputError(source, f"{where}.{key}", name, f"one of {', '.join(own_names)}")
        name = catalog.target(catalog.find(block.target)).name
        found += _subs(source, where, block, name, evening)
    return sorted(found, key=lambda sub: sub.start_utc_mjd)


def record_ticks(journal: Journal, subs: Sequence[Sub]) -> tuple[list[Sub], list[Sub]]:
    """Store ticked subs as far as no files stand for them: those added, and those left out."""
    evenings = {sub.evening for sub in subs}
    stored = [sub for evening in evenings for sub in journal.subs(evening=evening)]
    group = _groups(subs)
    # A tick that gave way is counted by its file.
    counted = Counter(group(sub) for sub in stored if not (is_tick(sub) and sub.reason == REPLACED))
    known = {sub.identity for sub in stored}
    wanted = Counter(group(sub) for sub in subs)
    added: list[Sub] = []
    for sub in subs:
        own = group(sub)
        if sub.identity not in known and counted[own] < wanted[own]:
            added.append(sub)
            counted[own] += 1
    journal.record_subs(added)
    new = {sub.identity for sub in added}
    return added, [sub for sub in subs if sub.identity not in new]


def replace_ticks(journal: Journal, files: Iterable[Sub | CalibrationFrame]) -> int:
    """Reject as many ticked subs as files of their evening, target, panel and filter came in;
    returns how many gave way."""
    shot = [sub for sub in files if isinstance(sub, Sub)]
    ticks = [
        sub
        for evening in {sub.evening for sub in shot}
        for sub in journal.subs(evening=evening)
        if is_tick(sub) and sub.accepted
    ]
    group = _groups(ticks)
    come = Counter(group(sub) for sub in shot)
    gone: list[str] = []
    for sub in ticks:
        if come[group(sub)] > 0:
            come[group(sub)] -= 1
            gone.append(sub.identity)
    if gone:
        journal.judge_subs(gone, accepted=False, reason=REPLACED)
    return len(gone)


def is_tick(sub: Sub) -> bool:
    """Whether a sub is known from a tick alone."""
    return sub.identity.startswith(PREFIX)


def _groups(ticks: Iterable[Sub]) -> Callable[[Sub], Group]:
    """What tells which subs may stand for each other: evening, target, panel, filter, and of the
    lengths that were ticked there the nearest, for a filter may have long and short subs."""
    lengths: dict[tuple[date, str, int, str], set[float]] = {}
    for tick in ticks:
        lengths.setdefault((tick.evening, tick.target, tick.panel, tick.filter), set()).add(
            tick.exposure_s
        )

    def group(sub: Sub) -> Group:
        own = (sub.evening, sub.target, sub.panel, sub.filter)
        near = sorted(lengths.get(own, ()), key=lambda s: abs(math.log(s / sub.exposure_s)))
        return (*own, near[0] if near else 0.0)

    return group


def _subs(source: str, where: str, block: TickedBlock, name: str, evening: date) -> list[Sub]:
    try:
        start, end = mjd_from_iso(block.start_utc), mjd_from_iso(block.end_utc)
    except ValueError as error:
        accepted = "a time such as 2027-10-07T01:10:00Z"
        raise InputError(source, f"{where}.start_utc", block.start_utc, accepted) from error
    each = (end - start) / max(block.count, 1)
    if each * DAY_S < block.sub_s - 1.0 and block.count:
        accepted = f"at least {block.count} × {block.sub_s:g} s after start_utc"
        raise InputError(source, f"{where}.end_utc", block.end_utc, accepted)
    found = []
    for number in range(block.count):
        begin = start + number * each
        parts = [evening.isoformat(), name, str(block.panel), block.filter, f"{begin:.4f}"]
        digest = hashlib.sha256("\x1f".join(parts).encode()).hexdigest()
        found.append(
            Sub(
                identity=PREFIX + digest[:34],
                target=name,
                filter=block.filter,
                evening=evening,
                start_utc_mjd=begin,
                exposure_s=block.sub_s,
                train=block.train,
                panel=block.panel,
                gain=block.gain,
                file=source,
            )
        )
    return found
