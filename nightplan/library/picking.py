"""Which targets are worth a night."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from nightplan.library.earlier import remembered
from nightplan.library.inputs import catalog_and_rows, listed, night_of, value_in
from nightplan.library.outputs import Answer, coords_of, floats_of, quantity, table_of, time_of

if TYPE_CHECKING:
    from astroplan import Constraint
    from astropy.table import QTable
    from astropy.units import Quantity

    from nightplan.library.inputs import AnyEvening, AnyTarget
    from nightplan.model.config import Config
    from nightplan.planning.choosing.selection import Ranking
    from nightplan.planning.tonight.night import Night
    from nightplan.report.documents.pick import PickDocument


class Ranked(Answer):
    """The catalogue ranked for one night."""

    def __init__(self, night: Night, ranking: Ranking, count: int) -> None:
        self.night = night
        self.ranking = ranking
        self.count = count

    @property
    def table(self) -> QTable:
        """As `pick` returns it."""

        from nightplan.planning.choosing.selection import PARTS

        ranked = self.ranking.first(self.count)
        targets = [entry.target for entry in ranked]

        def numbers(key: str) -> np.ndarray:
            return np.array([getattr(entry, key) for entry in ranked], dtype=np.float64)

        return table_of(
            {
                "name": [target.name for target in targets],
                "common_name": [
                    target.common_names[0] if target.common_names else "" for target in targets
                ],
                "kind": [target.kind for target in targets],
                "constellation": [target.constellation for target in targets],
                "coord": coords_of(
                    [target.ra_deg for target in targets], [target.dec_deg for target in targets]
                ),
                "major": quantity(floats_of([target.major_arcmin for target in targets]), "arcmin"),
                "train": [entry.train for entry in ranked],
                "score": numbers("score"),
                **{
                    f"score_{part}": np.array([entry.score_parts[part] for entry in ranked])
                    for part in PARTS
                },
                "clock_time": quantity(numbers("hours"), "h"),
                "equivalent_time": quantity(numbers("equivalent_h"), "h"),
                "best": time_of(numbers("best_utc_mjd")),
                "altitude": quantity(numbers("max_altitude_deg"), "deg"),
                "moon_altitude": quantity(numbers("moon_altitude_deg"), "deg"),
                "moon_separation": quantity(numbers("moon_separation_deg"), "deg"),
                "filter": [entry.leading_filter for entry in ranked],
                "coverage": numbers("coverage"),
                "panels": np.array([entry.panels for entry in ranked], dtype=int),
                "subject": [" + ".join((one.target.name, *one.subject)) for one in ranked],
                "why": [entry.why for entry in ranked],
            },
            {
                "site": self.night.site.name,
                "date": self.night.evening.isoformat(),
                "considered": self.ranking.considered,
                "reason": "" if ranked else self.ranking.empty_reason,
                "notices": [*self.night.notices, *self.ranking.notices],
            },
        )

    @property
    def document(self) -> PickDocument:
        """The JSON document of `nightplan pick`."""
        from nightplan.report.documents.pick import pick_document

        return pick_document(self.night, self.ranking, self.count)

    def _text(self, full: bool) -> str:
        from nightplan.report.texts.pick_text import pick_text

        return pick_text(self.document, self.night.zone, full=full)


def pick(
    config: Config,
    evening: AnyEvening = None,
    *,
    count: int = 15,
    kinds: Sequence[str] = (),
    constellations: Sequence[str] = (),
    larger: Quantity | str | None = None,
    smaller: Quantity | str | None = None,
    brighter: Quantity | str | None = None,
    only: AnyTarget | Iterable[AnyTarget] = (),
    constraints: Sequence[Constraint] = (),
) -> QTable:
    """Rank the catalogue for one night, best first; as `nightplan pick`.

    Parameters
    ----------
    config : Config
    evening : date, str, Time or None
        As of `night`.
    count : int
        How many places are wanted.
    kinds, constellations : sequence of str
        Narrow the catalogue; constellations by their IAU abbreviation.
    larger, smaller : Quantity, optional
        Range of the major axis.
    brighter : Quantity, optional
        Faintest total magnitude; targets without one drop out.
    only : targets
        Rank only these: names, SkyCoords, FixedTargets, Targets.
    constraints : sequence of astroplan.Constraint
        Any of astroplan's or one's own. What a constraint forbids is unusable; what it grades
        from 0 to 1 weighs the worth of the moment.

    Returns
    -------
    QTable
        `name`, `common_name`, `kind`, `constellation`, `coord` (SkyCoord), `major`, `train`,
        `score`, its parts `score_tonight`, `score_framing`, `score_contrast`, `score_priority`,
        `score_begun` (their product is `score`), `clock_time` and `equivalent_time` (inside
        all limits), `best` (Time of the highest usable moment) and at it `altitude`,
        `moon_altitude`, `moon_separation`; `filter` (the leading one), `coverage`, `panels`,
        `why`. `meta` holds `site`, `date`, `considered`, `reason` (of an empty table),
        `notices`.

    Raises
    ------
    nightplan.errors.InputError
        A wish is outside its range.
    nightplan.errors.TargetError
        A name among `only` is unknown or ambiguous.
    """
    return rank(
        config,
        evening,
        count=count,
        kinds=kinds,
        constellations=constellations,
        larger=larger,
        smaller=smaller,
        brighter=brighter,
        only=only,
        constraints=constraints,
    ).table


def rank(
    config: Config,
    evening: AnyEvening = None,
    *,
    count: int = 15,
    kinds: Sequence[str] = (),
    constellations: Sequence[str] = (),
    larger: Quantity | str | None = None,
    smaller: Quantity | str | None = None,
    brighter: Quantity | str | None = None,
    only: AnyTarget | Iterable[AnyTarget] = (),
    constraints: Sequence[Constraint] = (),
) -> Ranked:
    """The answer behind `pick`; arguments as there."""

    from nightplan.planning.choosing.selection import rank_targets
    from nightplan.planning.choosing.wishes import Wishes

    journal = remembered(config)
    config = journal.config
    the_night = night_of(config, evening)
    catalog, rows = catalog_and_rows(config, listed(only))
    wishes = Wishes(
        kinds=kinds,
        constellations=constellations,
        larger_arcmin=None if larger is None else value_in("larger", larger, "arcmin"),
        smaller_arcmin=None if smaller is None else value_in("smaller", smaller, "arcmin"),
        brighter_mag=None if brighter is None else value_in("brighter", brighter, "mag"),
        names=[str(catalog.name[row]) for row in rows],
    )
    ranking = rank_targets(
        config.constrained(constraints),
        the_night,
        catalog,
        wishes,
        most=count,
        gathered_h=journal.earlier.by_filter(),
    )
    return Ranked(the_night, ranking, count)
