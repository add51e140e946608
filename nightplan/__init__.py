"""nightplan: plan a night of deep-sky imaging before dusk, without a network.

The public calls of `nightplan.library` can be had from here too (`nightplan.plan(...)`); they
take and give astropy and astroplan objects. The command line is `nightplan --help`.
"""

# ruff: noqa: F403, F405
from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from nightplan.library import *

__all__ = [
    "AngleAdvice",
    "ComingNights",
    "Config",
    "ConfigCheck",
    "Followed",
    "Framed",
    "Gathering",
    "JournalCheck",
    "NightReview",
    "NightTimes",
    "NightplanError",
    "Photons",
    "Planned",
    "Site",
    "SitesCompared",
    "Target",
    "angle",
    "campaign",
    "catalogue",
    "check",
    "check_journal",
    "collect",
    "collect_ticks",
    "config_at",
    "configure_astropy",
    "demo_config",
    "exposure",
    "follow",
    "frame",
    "gathered",
    "load_config",
    "make_target",
    "night",
    "nights_by_site",
    "pick",
    "plan",
    "review",
    "season",
    "set_goal",
    "sheet",
    "site_at",
    "target",
    "targets_by_site",
    "tracks",
    "transit",
    "write_starter",
]


def __getattr__(name: str) -> Any:
    # Late, so that `import nightplan` and `nightplan --help` stay light.
    if name in __all__:
        from nightplan import library

        return getattr(library, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
