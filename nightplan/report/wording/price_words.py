"""What makes tonight's hours dear or cheap, and what waits, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.report.wording.words import evening

if TYPE_CHECKING:
    from nightplan.report.documents.plan import PlanDocument, PriceRow


def price_words(price: PriceRow) -> str:
    """One sentence on some filters of a target."""
    filters = f"{price.target} {' '.join(price.filters)}"
    date = "" if price.date is None else evening(price.date)
    if price.reason == "best_until":
        return f"{filters} tonight: no night before {date} offers them as much."
    if price.reason == "no_better_ahead":
        return f"{filters} tonight: none of the coming 30 nights offers them as much."
    if price.reason == "season_ends":
        return f"{filters} tonight: after {date} {price.target} is out of reach."
    share = 100.0 * (price.share or 0.0)
    return f"{filters} can wait: moonlit nights bring {share:.0f} % of what the best night does."


def left_out_words(plan: PlanDocument) -> list[str]:
    """What has no place tonight: wanted targets first, then filters with the limit that binds."""
    waiting = plan.not_tonight
    night = " and ".join(dict.fromkeys(block.target for block in plan.blocks)) or "no other"
    verb = "waits" if len(waiting) == 1 else "wait"
    first = [f"{', '.join(waiting)} {verb}: the night goes to {night}"] if waiting else []
    return [f"{wish}." for wish in (*first, *plan.left_out)]
