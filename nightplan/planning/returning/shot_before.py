"""Hours that subs of earlier nights brought, those of short sets apart."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from nightplan.planning.photons.short_set import short_subs
from nightplan.planning.returning.earlier_nights import GatheredHours

if TYPE_CHECKING:
    from nightplan.journal.records import Sub
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config


def hours_shot(config: Config, catalog: Catalog, subs: Sequence[Sub]) -> tuple[GatheredHours, ...]:
    """Hours by target, panel, filter and train; short subs count for their set alone."""
    short = short_subs(config, catalog, subs)
    found: dict[tuple[str, int, str, str | None, bool], float] = {}
    for sub in subs:
        key = (sub.target, sub.panel, sub.filter, sub.train, short(sub))
        counted_s = sub.counted_open_s if key[4] else sub.counted_s
        found[key] = found.get(key, 0.0) + counted_s / 3600.0
    return tuple(GatheredHours(*key[:4], hours, key[4]) for key, hours in found.items())
