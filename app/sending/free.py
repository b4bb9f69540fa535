"""Which bags are free: not in a case that stays here, and not kept for somebody's pick.

Two conditions that do not touch: a case holds bags that stand in it, a pick keeps a number of bags
wherever they stand, in cases or not.
"""

from collections import Counter
from collections.abc import Collection, Mapping
from datetime import datetime
from typing import NamedTuple, NoReturn

from sqlalchemy import bindparam, func, select
from sqlmodel import Session, col

from app.sending.cases.contents import cased_bags
from app.sending.picking.tables import Pick, PickEnd, PickLine
from app.shared.problems import Refused

NO_PICK = 0

# Built once: every dispatch asks this.
_KEPT = (
    select(col(PickLine.pack_id), func.sum(col(PickLine.bags)))
    .join(Pick, col(Pick.id) == col(PickLine.pick_id))
    .outerjoin(PickEnd, col(PickEnd.pick_id) == col(Pick.id))
    .where(col(PickLine.pack_id).in_(bindparam("packs", expanding=True)))
    .where(col(PickEnd.pick_id).is_(None), col(Pick.kept_until) > bindparam("now"))
    .where(col(Pick.id) != bindparam("mine"))
    .group_by(col(PickLine.pack_id))
)


def kept_bags(
    session: Session, pack_ids: Collection[int], now: datetime, mine: int = NO_PICK
) -> Counter[int]:
    """Count the bags of packs that are kept for picks other than mine."""
    asked = {"packs": list(pack_ids), "now": now, "mine": mine}
    return Counter({pack_id: int(bags) for pack_id, bags in session.execute(_KEPT, asked)})


class Wanted(NamedTuple):
    """Bags of one pack that are to leave."""

    code: str
    left: int
    """How many it has, wherever they stand."""
    loose: int
    """How many are taken that stand in no case."""
    in_cases: int
    """How many are taken in their cases."""


def refuse_unfree(
    session: Session,
    wanted: Mapping[int, Wanted],
    now: datetime,
    mine: int = NO_PICK,
    gone: Collection[int] = (),
) -> None:
    """Refuse bags that stand in cases or are kept for others; too few at all is posting's matter.

    Raises:
        Refused: `not-free`.
    """
    cased = cased_bags(session, wanted, gone)
    kept = kept_bags(session, wanted, now, mine)
    for pack_id, bags in wanted.items():
        whole = bags.loose + bags.in_cases
        if whole > bags.left:
            continue
        if bags.loose and bags.loose > bags.left - cased[pack_id]:
            _refuse(bags, bags.loose, cased[pack_id], f"{cased[pack_id]} stand in cases: open one")
        if kept[pack_id] and whole > bags.left - kept[pack_id]:
            _refuse(bags, whole, kept[pack_id], f"{kept[pack_id]} are kept for picks")


def _refuse(bags: Wanted, asked: int, taken: int, why: str) -> NoReturn:
    free = max(bags.left - taken, 0)
    raise Refused(
        "not-free",
        f"{bags.code} has {bags.left} bags left, and {why}; {free} are free, {asked} were asked.",
        unit=bags.code,
        asked_bags=asked,
        left_bags=bags.left,
        free_bags=free,
    )
