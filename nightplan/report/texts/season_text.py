"""A target's year, or a month's best targets, as text for a terminal."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence

from nightplan.model.target import Target
from nightplan.number_forms import percent
from nightplan.planning.optics.train_optics import TrainOptics
from nightplan.planning.season.season import Season, best_weeks, month_sums, useful_span
from nightplan.report.documents.season import MonthTarget
from nightplan.report.texts.pick_text import USUAL_COUNT
from nightplan.report.wording.text_table import first_that_fits, heading, paragraph, text_table
from nightplan.report.wording.words import MONTHS, counted, shortened, subject_name


def season_text(
    table: Season, target: Target, optics: TrainOptics, goal_hours: float, least_hours: float
) -> str:
    """The useful span, the months, the best weeks, and how the target fills the train's field."""
    nights, usable, moonless = table.nights, table.usable_hours[0], table.moonless_hours[0]
    lines = [
        heading(f"{target.label}: the year from {nights.evenings[0]}"),
        paragraph(_span_words(table, least_hours)),
        paragraph(_fit_words(target, optics)),
        "",
        _month_table(table),
    ]
    weeks = best_weeks(nights, usable, moonless)
    if weeks:
        words = ", ".join(
            f"{_short(week.first).strip()} ({week.moonless_hours:.0f} of {week.usable_hours:.0f} h)"
            for week in weeks
        )
        lines += ["", paragraph(f"Best weeks, from (moonless hours): {words}.")]
        per_night = max(week.moonless_hours for week in weeks) / 7.0
        if per_night > 0.0:
            nights_needed = max(1, math.ceil(goal_hours / per_night - 0.05))
            lines.append(
                paragraph(
                    f"The goal of {goal_hours:.0f} h takes "
                    f"{counted(nights_needed, 'clear night')} like those of the best week, "
                    "focus and flips not counted."
                )
            )
    return "\n".join(lines)


def month_text(rows: Sequence[MonthTarget], month: tuple[int, int], *, full: bool = False) -> str:
    """The ranking of a month, as far as one screen holds it; `full` has all of it, and so has who
    asks for more than the usual count."""
    if full or not rows or len(rows) > USUAL_COUNT:
        return _ranking(rows, month, 0)
    return first_that_fits(
        lambda shown: _ranking(rows[:shown], month, len(rows) - shown), len(rows)
    )


def _ranking(rows: Sequence[MonthTarget], month: tuple[int, int], hidden: int) -> str:
    title = heading(f"Best in {MONTHS[month[1] - 1]} {month[0]}, moonless hours")
    if not rows:
        return title + "\nNo target of a fitting size has moonless hours in that month."
    cells = [
        [
            str(place),
            *_names(row),
            row.train,
            f"{row.usable_moonless_hours:.0f}",
            percent(row.share_of_best_month, plain=True),
            _span(row),
        ]
        for place, row in enumerate(rows, start=1)
    ]
    headers = ["", "target", "", "train", "hours", "of best", "useful"]
    reading = (
        "Sorted by moonless hours (of a night, as many as the goal can use) × their share of the "
        "target's best month × how it fills the field × its contrast with the sky."
    )
    if any(row.subject for row in rows):
        reading += " +1: one more in the framing."
    if hidden:
        reading += f" {hidden} more: --full"
    table = text_table(headers, cells, right=(0, 4, 5))
    return f"{title}\n\n{table}\n{paragraph(reading)}"


def _names(row: MonthTarget) -> tuple[str, str]:
    """Name and common name; of a field of several, whose name is long, one of them."""
    if " + " in row.target:
        return row.common_name or row.target.replace(" + ", "+"), ""
    return subject_name(row.target, row.subject), shortened(row.common_name or "")


def _span(row: MonthTarget) -> str:
    if row.first_useful_date is None or row.last_useful_date is None:
        return "never"
    first, last = (
        datetime.date.fromisoformat(text) for text in (row.first_useful_date, row.last_useful_date)
    )
    return f"{_short(first).strip()}–{_short(last).strip()}"


def _short(day: datetime.date) -> str:
    return f"{day.day:2d} {MONTHS[day.month - 1]}"


def _fit_words(target: Target, optics: TrainOptics) -> str:
    field = f"The {optics.name} sees {optics.field_width_deg:.2f}° × {optics.field_height_deg:.2f}°"
    axes = target.axes_arcmin
    if axes is None:
        return f"{field}; the target's size is not known."
    ratio = axes[0] / optics.long_side_arcmin
    size = f"{axes[0]:.0f}′ × {axes[1]:.0f}′"
    return f"{field}; the target is {size}, {percent(ratio)} of the long side."


def _span_words(table: Season, least_hours: float) -> str:
    span = useful_span(table.nights, table.usable_hours[0], least_hours)
    if span is None:
        return f"No night has {least_hours:g} h inside all limits."
    first, last = span
    if span == (table.nights.evenings[0], table.nights.evenings[-1]):
        return f"Nights with {least_hours:g} h or more all the year round."
    return f"Nights with {least_hours:g} h or more: first {first}, last {last}."


def _month_table(table: Season) -> str:
    months, usable = month_sums(table.nights, table.usable_hours[:1])
    _, moonless = month_sums(table.nights, table.moonless_hours[:1])
    most = max(usable[0].max(), 1e-9)
    rows = [
        [
            f"{MONTHS[month - 1]} {year}",
            f"{total:.0f}",
            f"{dark:.0f}",
            "#" * round(30 * dark / most) + "-" * round(30 * (total - dark) / most),
        ]
        for (year, month), total, dark in zip(months, usable[0], moonless[0], strict=True)
        if total >= 0.5
    ]
    headers = ["month", "hours", "moonless", "# moonless, - with the moon up"]
    return text_table(headers, rows, right=(1, 2))
