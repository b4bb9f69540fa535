"""Checking the weight of bags."""

import json

from sqlmodel import col

from app.ledger.actions import place_hold
from app.ledger.posting import Pen
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import Unit, UnitKind
from app.packing.tables import Pack
from app.packing.weighing.schemas import CheckWeighingIn, CheckWeighingOut
from app.packing.weighing.showing import Weighed, show, verdict_of
from app.packing.weighing.tables import CheckWeighing
from app.shared.db import next_number
from app.shared.problems import FieldRefused
from app.standards.average_quantity import Check, Finding, Verdict

EVERY_BELOW = 100


def weigh(pen: Pen, code: str, asked: CheckWeighingIn) -> CheckWeighingOut:
    """Record the weights of bags and judge the batch; a rejected one is held where that is set.

    The bags stay in stock: what was opened is booked out as an adjustment of its own.
    """
    unit = live(unit_by_code(pen.session, code, UnitKind.PACK))
    pack = pen.session.get_one(Pack, unit.id)
    batch = _batch(asked, pack)
    check = asked.plan or (Check.EVERY if batch < EVERY_BELOW else pen.settings.check_plan)
    verdict = _verdict(asked, check, batch, pack)
    at = pen.moment(asked.weighed_at, "#/weighed_at")
    entry_id = pen.note("check weighing", {"pack": unit.code, **asked.model_dump(mode="json")}, at)
    row = CheckWeighing(
        id=next_number(pen.session, col(CheckWeighing.id)), pack_id=unit.id, plan=check,
        batch_bags=batch, tare_mg=asked.tare or 0,
        net_mg=json.dumps(asked.net_mg()), instrument=asked.instrument, note=asked.note,
        hold_id=_hold(pen, entry_id, unit, verdict), entry_id=entry_id,
    )  # fmt: skip
    pen.session.add(row)
    return show(row, Weighed(unit.code, pack.nominal_g, at, pen.who))


def _batch(asked: CheckWeighingIn, pack: Pack) -> int:
    batch = asked.batch_bags or pack.bags
    if batch > pack.bags:
        raise FieldRefused("#/batch_bags", f"{batch} bags: the pack has {pack.bags}")
    if len(asked.weights) > batch:
        raise FieldRefused(
            "#/weights_g", f"{len(asked.weights)} weights of a batch of {batch} bags"
        )
    return batch


def _verdict(asked: CheckWeighingIn, check: Check, batch: int, pack: Pack) -> Verdict:
    try:
        return verdict_of(check, batch, pack.nominal_g, asked.net_mg())
    except ValueError as why:
        raise FieldRefused("#/weights_g", f"{check} plan, batch of {batch} bags: {why}") from why


def _hold(pen: Pen, entry_id: int, pack: Unit, verdict: Verdict) -> int | None:
    if verdict.finding is not Finding.REJECTED or not pen.settings.hold_on_failed_weighing:
        return None
    said = (
        f"check of weight rejected: {verdict.defective} of {verdict.weighed} bags defective, "
        f"{verdict.below_t2} below T2, mean test {verdict.mean.finding}"
    )
    return place_hold(pen, entry_id, [pack], said).id
