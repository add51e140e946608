"""Everything the command line does, as calls that take and give astropy and astroplan objects.

    import nightplan
    from astropy import units as u

    config = nightplan.load_config("nightplan.toml")
    tonight = nightplan.night(config, "2027-10-06")
    ranked = nightplan.pick(config, "2027-10-06", larger=10 * u.arcmin)
    framed = nightplan.frame(config, "M 31", "2027-10-06")
    planned = nightplan.plan(config, "2027-10-06", ["M 31"])

A place is a configuration, a site, or an astroplan `Observer`; a target a name, a `SkyCoord`, an
astroplan `FixedTarget`, or nightplan's own `Target`; an evening a date, its ISO text, or a `Time`
within the night. Angles, sizes and durations are Quantities. Bad input raises an error of
`nightplan.errors` that reads as one line.

astropy on its own asks the network for Earth-rotation data on dates of the coming year, and fails
without. `configure_astropy()` makes it live by the installed table, as nightplan does; the calls
here that meet a time do it themselves.
"""

from types import FunctionType

from nightplan.errors import NightplanError
from nightplan.library.campaigns import ComingNights, campaign
from nightplan.library.collecting import (
    Gathering,
    JournalCheck,
    check_journal,
    collect,
    collect_ticks,
    gathered,
)
from nightplan.library.configs import (
    ConfigCheck,
    check,
    config_at,
    configure_astropy,
    demo_config,
    load_config,
    site_at,
    write_starter,
)
from nightplan.library.framing import Framed, frame
from nightplan.library.gate import gated
from nightplan.library.keeping import set_goal
from nightplan.library.nights import (
    NightTimes,
    SitesCompared,
    night,
    nights_by_site,
    targets_by_site,
)
from nightplan.library.photons import Photons, exposure
from nightplan.library.picking import pick
from nightplan.library.planned import Planned, plan, sheet
from nightplan.library.returning import AngleAdvice, angle
from nightplan.library.reviewing import NightReview, review
from nightplan.library.targets import catalogue, make_target, target, tracks, transit
from nightplan.library.watching import Followed, follow
from nightplan.library.years import season
from nightplan.model.config import Config
from nightplan.model.site import Site
from nightplan.model.target import Target

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

for _name in __all__:
    if isinstance(globals()[_name], FunctionType):
        globals()[_name] = gated(globals()[_name])
