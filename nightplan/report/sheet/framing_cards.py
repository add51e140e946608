"""A card for each target: its framing, its chart, its guide star."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from nightplan.number_forms import number, percent
from nightplan.report.sheet.sheet_strip import order
from nightplan.report.wording.local_time import NightClock
from nightplan.report.wording.order_of_work import WorkItem, targets_in_order
from nightplan.report.wording.words import GUIDE_WORDS, angle_range

Document = Mapping[str, Any]


def framing_cards(
    plan: Document,
    frames: Mapping[str, Document],
    charts: Mapping[str, Any],
    items: list[WorkItem],
    clock: NightClock,
) -> list[dict[str, Any]]:
    """Cards in the order of the night, targets in reserve last."""
    framed = {row["target"]: row for row in plan.get("targets", ())}
    names = [*targets_in_order(items), *framed]
    tonight: dict[str, str] = {}
    for row in order(items, clock):
        before = f"{tonight[row['target']]}; " if row["target"] in tonight else ""
        tonight[row["target"]] = f"{before}{row['start']} to {row['end']}"
    cards: list[dict[str, Any]] = []
    for name in dict.fromkeys(names):
        frame = frames.get(name) or framed.get(name)
        if frame is None:
            continue
        common = framed.get(name, {}).get("common_name") or ""
        title = f"{name}, {common}" if common and common != name else name
        panels = frame["panels"] if isinstance(frame.get("panels"), list) else []
        facts = [
            ("Tonight", tonight.get(name, "in reserve: no block")),
            ("Camera", angle_range(frame["position_angle_deg"],
                                   frame["position_angle_tolerance_deg"], 1)),
            ("Image up", f"{number(frame['image_up_angle_deg'])}°"),
            ("Train", str(frame["train"])),
        ]  # fmt: skip
        if len(panels) == 1:
            facts.append(
                ("Centre", f"{ra_text(panels[0]['ra_deg'])} {dec_text(panels[0]['dec_deg'])}")
            )
        facts += [
            ("In frame", percent(frame["coverage"])),
            ("Margin", f"{number(frame['margin_arcmin'])}′"),
        ]
        notes = [str(frame["reason"])] if frame.get("reason") else []
        guide = frame.get("guide")
        if guide:
            facts += _guide_facts(guide)
            notes += _guide_notes(guide)
        cards.append(
            {
                "title": title,
                "chart": charts.get(name),
                "chart_words": f"{name}: the field in train {frame['train']}"
                + (", and where the guider looks before and after the meridian." if guide else "."),
                "facts": facts,
                "panels": [
                    {
                        "number": i,
                        "ra": ra_text(panel["ra_deg"]),
                        "dec": dec_text(panel["dec_deg"]),
                        "angle": f"{number(panel['position_angle_deg'], 2)}°",
                    }
                    for i, panel in enumerate(panels, start=1)
                ]
                if len(panels) > 1
                else [],
                "notes": notes,
            }
        )
    return cards


def _guide_facts(guide: Document) -> list[tuple[str, str]]:
    facts = []
    for when in ("Before", "After"):
        side = guide[f"{when.lower()}_meridian"]
        text = GUIDE_WORDS.get(side["state"], side["state"])
        stars = side.get("stars") or []
        if stars:
            brightest = min(star["g_mag"] for star in stars)
            more = f" and {len(stars) - 1} more" if len(stars) > 1 else ""
            text = f"of G {brightest:.1f}{more}"
        elif side.get("expected_count") is not None:
            count = float(side["expected_count"])
            text += f", about {number(count, 0 if count >= 3.0 else 1)} by local density"
        facts.append((f"{when} meridian", f"guide star {text}"))
    return facts


def _guide_notes(guide: Document) -> list[str]:
    if guide.get("advice"):
        return [str(guide["advice"])]
    better = guide.get("better_image_up_angle_deg")
    if better is not None:
        return [f"With image up at {number(better)}° the guider does better and the frame keeps."]
    return []


def ra_text(ra_deg: float) -> str:
    """Right ascension as ``20h59m00s``, to the second of time."""
    total = round(ra_deg / 15.0 * 3600.0) % 86400
    return f"{total // 3600:02d}h{total // 60 % 60:02d}m{total % 60:02d}s"


def dec_text(dec_deg: float) -> str:
    """Declination as ``+44°22′12″``, to the second of arc."""
    total = round(abs(dec_deg) * 3600.0)
    sign = "−" if dec_deg < 0.0 and total else "+"
    return f"{sign}{total // 3600:02d}°{total // 60 % 60:02d}′{total % 60:02d}″"
