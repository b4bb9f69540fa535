"""Reading which certificates lots have, and which claims anything made of them may carry."""

from collections.abc import Collection, Mapping
from functools import cache
from typing import Any, Final

from sqlalchemy import ColumnElement, bindparam, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from app.green.certificates.rules import Certified, Judged, OnRecord, claims_of, judge
from app.green.certificates.schemas import (
    CertificateOut,
    ClaimedUnit,
    ClaimOut,
    ClaimsOut,
    HoldingOut,
    LackingOut,
    LotCertificateOut,
)
from app.green.certificates.tables import Certificate, LotCertificate, LotCertificateWithdrawal
from app.green.tables import Delivery, GreenLot
from app.ledger.cards import Shelf, card_at
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import Entry, Unit, UnitKind
from app.ledger.walk import reached_from
from app.shared.days import day_of
from app.shared.db import AnySelect, among
from app.shared.paging import Page, PageOf, turn_page

CERTIFICATES = Shelf("certificate", Certificate, CertificateOut, key="code", folded="code")

CAUTION: Final = (
    "The records carry a claim while every lot behind the unit carries it. Whether it may be made "
    "depends on keeping the coffee apart in store and production, on labelling law, and on the "
    "control body licensed for the scheme; they decide."
)


# Built once, since putting a statement together takes several times as long as running it.
_CERTIFIED: AnySelect = (
    select(
        col(Unit.id),
        col(Unit.code).label("lot"),
        col(Entry.happened_at),
        col(Certificate.code),
        col(Certificate.scheme),
        col(Certificate.claim),
        col(Certificate.number),
        col(Certificate.body),
        col(Certificate.valid_from),
        col(Certificate.valid_until),
        col(Certificate.withdrawn_on),
        col(LotCertificateWithdrawal.reason),
    )
    .join(GreenLot, col(GreenLot.unit_id) == col(Unit.id))
    .join(Delivery, col(Delivery.id) == col(GreenLot.delivery_id))
    .join(Entry, col(Entry.id) == col(Delivery.entry_id))
    .outerjoin(LotCertificate, col(LotCertificate.lot_id) == col(Unit.id))
    .outerjoin(Certificate, col(Certificate.id) == col(LotCertificate.certificate_id))
    .outerjoin(
        LotCertificateWithdrawal,
        col(LotCertificateWithdrawal.lot_certificate_id) == col(LotCertificate.id),
    )
    .order_by(col(Unit.id), col(LotCertificate.id))
)
_WALK = reached_from(col(Unit.id) == bindparam("unit"), forward=False)
_BEHIND = _CERTIFIED.join(_WALK, _WALK.c.id == col(Unit.id)).where(
    col(Unit.voided_entry_id).is_(None)
)


def _lots(session: Session, statement: AnySelect, **bound: int) -> Mapping[int, Certified]:
    """Gather what was ever put on record for each lot of a statement, in the order they came."""
    known: dict[int, tuple[Any, list[OnRecord]]] = {}
    for row in session.connection().execute(statement, bound):
        _, on_record = known.setdefault(row.id, (row, []))
        if row.code is not None:
            on_record.append(OnRecord(*row[3:]))
    return {
        lot_id: Certified(row.lot, day_of(row.happened_at), on_record)
        for lot_id, (row, on_record) in known.items()
    }


def claims_of_lots(session: Session, lot_ids: Collection[int]) -> Mapping[int, list[str]]:
    """Name the claims each of these lots carries."""
    lots = _lots(session, _CERTIFIED.where(among(session, col(Unit.id), lot_ids)))
    return {lot_id: sorted(claims_of(lot)) for lot_id, lot in lots.items()}


def carried_by(session: Session, unit_id: int) -> list[str]:
    """Name the claims that every lot behind a unit carries."""
    lots = _lots(session, _BEHIND, unit=unit_id)
    return [each.claim for each in judge(lots.values()) if each.carried]


def claims(session: Session, code: str) -> ClaimsOut:
    """Judge every claim seen behind a unit."""
    unit = live(unit_by_code(session, code))
    lots = _lots(session, _BEHIND, unit=unit.id)
    judged = judge(lots.values())
    return ClaimsOut(
        of=ClaimedUnit(code=unit.code, kind=unit.kind),
        lots=[lot.lot for lot in lots.values()],
        carried=[each.claim for each in judged if each.carried],
        claims=[_claim_out(each) for each in judged],
        caution=CAUTION,
    )


def _claim_out(judged: Judged) -> ClaimOut:
    return ClaimOut(
        claim=judged.claim,
        carried=judged.carried,
        because=[LackingOut(**each._asdict()) for each in judged.lacking],
        certificates=[
            HoldingOut(certificate=code, scheme=scheme, number=number, body=body, lots=lots)
            for (code, scheme, number, body), lots in judged.certificates.items()
        ],
    )


def certified_by(session: Session, code: str) -> ColumnElement[bool]:
    """Tell in a statement whether a certificate stands on record for a lot."""
    card = card_at(session, CERTIFICATES, code)
    standing = (
        select(col(LotCertificate.lot_id))
        .outerjoin(
            LotCertificateWithdrawal,
            col(LotCertificateWithdrawal.lot_certificate_id) == col(LotCertificate.id),
        )
        .where(col(LotCertificate.certificate_id) == card.id)
        .where(col(LotCertificateWithdrawal.lot_certificate_id).is_(None))
    )
    return col(GreenLot.unit_id).in_(standing)


def on_record_page(session: Session, page: Page, code: str) -> PageOf:
    """Read what was ever put on record for a lot, oldest first."""
    lot = unit_by_code(session, code, UnitKind.LOT)
    return on_record(session, page, lot.id, lot.code)


def on_record(session: Session, page: Page, lot_id: int, code: str) -> PageOf:
    """Read the same of a lot that was found already."""
    statement = _links().where(col(LotCertificate.lot_id) == lot_id)
    rows, following = turn_page(session, statement, col(LotCertificate.id), page)
    return [link_out(row, code).model_dump() for row in rows], following


def link(session: Session, lot_id: int, number: int) -> Any | None:  # noqa: ANN401 - a row of `_links`
    """Read what was put on record for a lot under a number."""
    return session.execute(
        _links().where(col(LotCertificate.id) == number, col(LotCertificate.lot_id) == lot_id)
    ).first()


@cache
def _links() -> AnySelect:
    ended = aliased(Entry)
    return (
        select(
            col(LotCertificate.id),
            col(Certificate.code),
            col(Certificate.claim),
            col(LotCertificate.transaction_number),
            col(LotCertificate.note),
            col(Entry.recorded_at),
            col(Entry.who),
            col(ended.recorded_at).label("withdrawn_at"),
            col(ended.who).label("withdrawn_by"),
            col(LotCertificateWithdrawal.reason),
        )
        .join(Certificate, col(Certificate.id) == col(LotCertificate.certificate_id))
        .join(Entry, col(Entry.id) == col(LotCertificate.entry_id))
        .outerjoin(
            LotCertificateWithdrawal,
            col(LotCertificateWithdrawal.lot_certificate_id) == col(LotCertificate.id),
        )
        .outerjoin(ended, col(ended.id) == col(LotCertificateWithdrawal.entry_id))
    )


def link_out(row: Any, lot: str) -> LotCertificateOut:  # noqa: ANN401 - a row of `_links`
    """Answer what was put on record for a lot."""
    return LotCertificateOut(
        id=row.id,
        lot=lot,
        certificate=row.code,
        claim=row.claim,
        transaction=row.transaction_number,
        note=row.note,
        recorded_at=row.recorded_at,
        recorded_by=row.who,
        withdrawn_at=row.withdrawn_at,
        withdrawn_by=row.withdrawn_by,
        withdrawn_because=row.reason,
    )
