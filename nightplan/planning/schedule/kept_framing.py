"""Framings and train of the plan in force: a re-plan turns no camera and swaps no train.

The document holds each target's framing whole, so that nothing is searched anew in the night, and
a journal or configuration that has changed since cannot move a field half shot.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from nightplan.errors import InputError
from nightplan.planning.choosing.train_choice import NightTrain, TargetLoss
from nightplan.planning.framing.framing import Framing, Panel, frame_target
from nightplan.sky.angles import separation_deg

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.model.target import Target
    from nightplan.planning.returning.earlier_nights import EarlierNights


def kept_framings(
    config: Config,
    targets: Sequence[Target],
    plan: Mapping[str, Any],
    source: str,
    earlier: EarlierNights,
) -> tuple[Framing, ...]:
    """How each target is framed in its train of the plan: as the plan in force has it.

    A target that the plan does not hold is framed anew; one that it holds without its fields, at
    the angle that it tells. `source` names the plan in messages.

    Raises
    ------
    InputError
        The configuration has no such train.
    """
    rows = {row["target"]: row for row in plan.get("targets", ())}
    found = []
    for target in targets:
        row = rows.get(target.name, {})
        train = str(row.get("train", plan["train"]))
        if train not in config.train:
            accepted = f"one of {', '.join(config.train)}"
            raise InputError(source, "train", train, accepted)
        if "fields" in row:
            found.append(_restored(target, train, row))
            continue
        found.append(
            frame_target(
                config,
                target,
                train,
                angle_deg=row.get("position_angle_deg"),
                used_angles=earlier.used_angles.get((target.name, train), ()),
                flats_angles=earlier.flats_angles.get(train, ()),
            )
        )
    return tuple(found)


def kept_train(targets: Sequence[Target], plan: Mapping[str, Any]) -> NightTrain:
    """The train of the plan in force, and what it said of each target's loss."""
    train = str(plan["train"])
    rows = {row["target"]: row for row in plan.get("targets", ())}
    losses = []
    for target in targets:
        row = rows.get(target.name)
        if row is None:
            said = f"{target.name} was not there when the train was chosen."
            losses.append(TargetLoss(target.name, train, 0.0, said))
        elif row.get("train_loss"):
            share = float(row.get("train_loss_share", 0.0))
            best = str(row.get("best_train", train))
            losses.append(TargetLoss(target.name, best, share, str(row["train_loss"])))
    trains = {train, *(str(row.get("train", train)) for row in rows.values())}
    reason = f"{train}: the plan in force has it on the telescope."
    if len(trains) > 1:
        reason = "The trains are those of the plan in force."
    return NightTrain(train, reason, tuple(losses))


def _restored(target: Target, train: str, row: Mapping[str, Any]) -> Framing:
    panels = tuple(
        Panel(
            float(field["ra_deg"]),
            float(field["dec_deg"]),
            float(field["position_angle_deg"]),
            float(field["image_up_angle_deg"]),
        )
        for field in row["fields"]
    )
    ra_deg, dec_deg = float(row["ra_deg"]), float(row["dec_deg"])
    apart = separation_deg(target.ra_deg, target.dec_deg, ra_deg, dec_deg)
    return Framing(
        target=target.name,
        train=train,
        ra_deg=ra_deg,
        dec_deg=dec_deg,
        position_angle_deg=float(row["position_angle_deg"]),
        image_up_angle_deg=float(row["image_up_angle_deg"]),
        position_angle_tolerance_deg=float(row["position_angle_tolerance_deg"]),
        coverage=float(row["coverage"]),
        margin_arcmin=float(row["margin_arcmin"]),
        panels=panels,
        mosaic_columns=int(row["mosaic_columns"]),
        mosaic_rows=int(row["mosaic_rows"]),
        offset_arcmin=60.0 * float(apart),
        angle_choice="kept",
        whole_mosaic_panels=len(panels),
        reason=str(row["reason"]),
    )
