"""What can hurt a person or a rig in the field at night; said on every sheet.

Common practice, no source, except where a line names one.
"""

from __future__ import annotations


def cautions(
    *, work_ends: str | None, sunrise: str | None, power: str = ""
) -> list[tuple[str, str]]:
    """Cautions as (heading, text), with tonight's times and power where they are known.

    `work_ends` (the last sub's end) and `sunrise` are local times with offset, `power` says in
    words what the night draws from the battery.
    """
    dawn = f" Cap everything before sunrise, {sunrise}." if sunrise else ""
    ends = f"The last sub ends {work_ends}. " if work_ends else ""
    load = f" Tonight: {power}." if power else ""
    return [
        (
            "Sun.",
            "Never point telescope, finder or guider at the sun; sweep for no planet while it is "
            f"up. Set up with the caps on.{dawn}",
        ),
        (
            "Lift.",
            "Carry the mount, the weights and the tube one at a time, from the knees, on a path "
            "walked once by daylight. Two people for anything you would not want to drop.",
        ),
        (
            "Counterweight.",
            "Weights go on before the tube and come off after it, with the clutches held. The "
            "stop at the end of the shaft stays on; keep feet and fingers clear.",
        ),
        (
            "Battery.",
            "Fuse at the battery, terminals covered, cables off the ground and out of the tube's "
            f"way. Never charge one that is frozen, swollen or left alone.{load}",
        ),
        (
            "Lasers and aircraft.",
            "No pointer at or near an aircraft, a road or a person, ever. Many places forbid them "
            "outright, and so do many fellow observers.",
        ),
        (
            "Cold and dark.",
            "Dress for ten degrees below the forecast, eat, drink. Tell someone where you are and "
            "when you will be back. Mark tripod legs and cables.",
        ),
        (
            "Driving tired.",
            f"{ends}Sleep before you drive: tired driving kills as drunk driving does.",
        ),
        (
            "The place.",
            "Ask who owns the land, close the gates, leave no trace, and mind the site's rules on "
            "light, fire and hours.",
        ),
    ]
