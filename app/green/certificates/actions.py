"""Keeping certificates, and putting them on record for lots."""

from sqlalchemy import select
from sqlmodel import col

from app.green.certificates.queries import CERTIFICATES, link, link_out
from app.green.certificates.schemas import (
    CertificateChange,
    LotCertificateIn,
    LotCertificateOut,
    WithdrawIn,
)
from app.green.certificates.tables import LotCertificate, LotCertificateWithdrawal
from app.ledger.cards import CardOut, card_at, named
from app.ledger.cards import change as change_card
from app.ledger.posting import Pen
from app.ledger.queries import live, unit_by_code
from app.ledger.tables import UnitKind
from app.shared.problems import FieldRefused, Refused
from app.shared.versions import require_match


def change(pen: Pen, code: str, asked: CertificateChange, if_match: str | None) -> CardOut:
    """Change a certificate; it must be valid for a day at least."""
    card = card_at(pen.session, CERTIFICATES, code)
    require_match(if_match, card.version)
    changes = asked.model_dump(exclude_unset=True)
    first = changes.get("valid_from", card.valid_from)
    last = changes.get("valid_until", card.valid_until)
    if last is not None and last < first:
        field = "valid_until" if "valid_until" in changes else "valid_from"
        raise FieldRefused(f"#/{field}", f"{last} comes before {first}: it must be valid for a day")
    return change_card(pen, CERTIFICATES, code, asked, if_match)


def put_on_record(pen: Pen, code: str, asked: LotCertificateIn) -> LotCertificateOut:
    """Put a certificate on record for a lot.

    Raises:
        Refused: `already-done` while it stands on record for the lot.
    """
    lot = live(unit_by_code(pen.session, code, UnitKind.LOT))
    card = named(pen.session, CERTIFICATES, asked.certificate, "#/certificate")
    standing = pen.session.scalars(
        select(col(LotCertificate.id))
        .outerjoin(
            LotCertificateWithdrawal,
            col(LotCertificateWithdrawal.lot_certificate_id) == col(LotCertificate.id),
        )
        .where(col(LotCertificate.lot_id) == lot.id)
        .where(col(LotCertificate.certificate_id) == card.id)
        .where(col(LotCertificateWithdrawal.lot_certificate_id).is_(None))
    ).first()
    if standing is not None:
        raise Refused(
            "already-done", f"{card.code} is on record for {lot.code} already.", id=standing
        )
    entry_id = pen.note("certificate", {"lot": lot.code, **asked.model_dump(mode="json")})
    put = LotCertificate(
        lot_id=lot.id,
        certificate_id=card.id or 0,
        entry_id=entry_id,
        transaction_number=asked.transaction,
        note=asked.note,
    )
    pen.session.add(put)
    pen.session.flush()  # the database numbers it
    return link_out(link(pen.session, lot.id, put.id or 0), lot.code)


def withdraw(pen: Pen, code: str, number: int, asked: WithdrawIn) -> LotCertificateOut:
    """Take a certificate back from a lot, with the reason.

    Raises:
        Refused: `already-done` when it was taken back before.
    """
    lot = unit_by_code(pen.session, code, UnitKind.LOT)
    before = link(pen.session, lot.id, number)
    if before is None:
        raise Refused("not-found", f"Lot {lot.code} has no certificate on record under {number}.")
    if before.reason is not None:
        raise Refused("already-done", f"It was taken back from {lot.code}: {before.reason}.")
    said = {"lot": lot.code, "id": number, "certificate": before.code, "reason": asked.reason}
    entry_id = pen.note("certificate withdrawn", said)
    pen.session.add(
        LotCertificateWithdrawal(lot_certificate_id=number, entry_id=entry_id, reason=asked.reason)
    )
    pen.session.flush()  # it is read again with the rest
    return link_out(link(pen.session, lot.id, number), lot.code)
