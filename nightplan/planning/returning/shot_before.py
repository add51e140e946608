"""Hours that subs of earlier nights brought, those of short sets apart."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from nightplan.model.channels import channels_by_filter
from nightplan.planning.photons.short_set import short_subs
from nightplan.planning.returning.earlier_nights import GatheredHours

if TYPE_CHECKING:
    from nightplan.journal.records import Sub
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config


def hours_shot(config: Config, catalog: Catalog, subs: Sequence[Sub]) -> tuple[GatheredHours, ...]:
    """Hours by target, panel, channel and train; short subs count for their set alone, by filter.

    Where a filter has several channels, each of its subs counts for all of them.
    """
    config = config.with_all_filters
    channels = channels_by_filter(config)
    short = short_subs(config, catalog, subs)
    found: dict[tuple[str, int, str, str | None, bool], float] = {}
    for sub in subs:
        is_short = short(sub)
        counted = (
            {sub.filter: sub.counted_open_s}
            if is_short
            else sub.counted_by(channels.get(sub.filter, [sub.filter]))
        )
        for name, seconds in counted.items():
            key = (sub.target, sub.panel, name, sub.train, is_short)
            found[key] = found.get(key, 0.0) + seconds / 3600.0
    return tuple(GatheredHours(*key[:4], hours, key[4]) for key, hours in found.items())
