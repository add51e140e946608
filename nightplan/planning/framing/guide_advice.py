"""What to do about the guider, in one to four sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.planning.framing.guide_brightness import clipping_exposure_s

if TYPE_CHECKING:
    from nightplan.model.guider import Guider
    from nightplan.planning.framing.guide_star import GuideScan, GuideSide, GuideStar


def guide_advice(
    guider: Guider,
    scan: GuideScan,
    sides: tuple[GuideSide, GuideSide],
    better: float | None,
    gain: str,
    sensor: str | None,
    turn_s: float | None,
) -> str:
    """What the guider will find on both sides of the meridian, and what would do better."""
    before, after = sides
    words = [f"Before the meridian {_words(before, scan)}; after it {_words(after, scan)}."]
    keeps = before.state == "found" and after.state != "found" and guider.moves_with_camera
    if keeps and turn_s is not None:
        words.append(
            f"Turning the camera back by 180° at the flip (about {turn_s:.0f} s) keeps the star."
        )
    if better is not None:
        twin = abs((better - scan.framing.image_up_angle_deg) % 360.0 - 180.0) < 0.5
        words.append(
            f"The framing also holds at image up {better % 360.0:.0f}°"
            + (", half a circle on" if twin else "")
            + f", where the guider has {gain}."
        )
    elif {before.state, after.state} != {"found"} and guider.moves_with_camera:
        words.append("No other angle that keeps the framing does better.")
    if sensor is not None:
        words.append(f"The guide sensor {sensor!r} would do better at the present angle.")
    return " ".join(words)


def _words(side: GuideSide, scan: GuideScan) -> str:
    where = "the patch"
    if len(scan.framing.panels) > 1:
        where += f" of panel {side.panel}, the poorest,"
    if side.stars:
        star = f"a star of G {side.stars[0].g_mag:.1f}"
        if len(side.stars) > 1:
            star += f" (the brightest of {len(side.stars)})"
        return f"{where} has {star}" + _clipping(side.stars[0], scan)
    if side.too_bright:
        star = f"G {side.too_bright[0].g_mag:.1f}"
        where += f", but for a star of {star} that clips in any useful exposure,"
    limit, known = scan.guider.limit_magnitude, scan.catalogue_limit_mag
    if known >= limit:
        return f"{where} has no star to the guider's limit G {limit:g}"
    count = f"{side.expected_count:.1f} to G {limit:g}"
    if side.state == "expected":
        return f"{where} has no star to G {known:g}, but about {count} are to be expected"
    return f"{where} has no star to G {known:g}, and only {count} are to be expected"


def _clipping(star: GuideStar, scan: GuideScan) -> str:
    """Words for a star that would clip in the guider's usual exposure; else none."""
    usual_s = scan.guider.exposure_s
    clips_s = clipping_exposure_s(scan.config, scan.guider, scan.framing.train, star.g_mag)
    return "" if clips_s > usual_s else f", which clips after {clips_s:.1f} s"
