"""Certificates, which lots they stand for, and the claims behind any unit."""

from typing import Annotated

from fastapi import Path, Response

from app.green.certificates import actions, queries
from app.green.certificates.queries import CERTIFICATES
from app.green.certificates.schemas import (
    CertificateChange,
    CertificateIn,
    CertificateOut,
    ClaimsOut,
    LotCertificateIn,
    LotCertificateOut,
    WithdrawIn,
)
from app.ledger import cards
from app.ledger.cards import IfMatch
from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.shared.answers import Answer
from app.shared.codes import Code
from app.shared.paging import Items, PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission

router = api_router("green")

CertificateKeeper = Annotated[Clerk, allowed(Permission.CERTIFICATES)]
OnRecordNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]


@router.post("/certificates", status_code=201, response_model=CertificateOut, dependencies=[Keyed])
def add_certificate(clerk: CertificateKeeper, asked: CertificateIn) -> Response:
    """Enter a certificate with its claim and the days it is valid."""
    return clerk.write(cards.add, CERTIFICATES, asked)


@router.get("/certificates", response_model=Items[CertificateOut])
def list_certificates(clerk: Reader, page: PageAsked) -> Response:
    """List certificates."""
    return page_answer(clerk.request, *clerk.read(cards.page_of, CERTIFICATES, page))


@router.get("/certificates/{code}", response_model=CertificateOut)
def show_certificate(clerk: Reader, code: str) -> Response:
    """Show a certificate, with the `ETag` a change needs."""
    return cards.show(clerk, CERTIFICATES, code)


@router.patch("/certificates/{code}", response_model=CertificateOut)
def change_certificate(
    clerk: CertificateKeeper, code: str, asked: CertificateChange, if_match: IfMatch = None
) -> Response:
    """Change a certificate: a correction, or the day it was withdrawn. Code and claim stay."""
    return clerk.write(actions.change, code, asked, if_match)


@router.post(
    "/lots/{code}/certificates",
    status_code=201,
    response_model=LotCertificateOut,
    dependencies=[Keyed],
)
def put_certificate_on_record(
    clerk: CertificateKeeper, code: Code, asked: LotCertificateIn
) -> Response:
    """Put a certificate on record for a lot."""
    return clerk.write(actions.put_on_record, code, asked)


@router.get("/lots/{code}/certificates", response_model=Items[LotCertificateOut])
def list_lot_certificates(clerk: Reader, code: Code, page: PageAsked) -> Response:
    """List what was ever put on record for a lot, oldest first, what was taken back included."""
    return page_answer(clerk.request, *clerk.read(queries.on_record_page, page, code))


@router.post(
    "/lots/{code}/certificates/{number}/withdraw",
    status_code=201,
    response_model=LotCertificateOut,
    dependencies=[Keyed],
)
def withdraw_lot_certificate(
    clerk: CertificateKeeper, code: Code, number: OnRecordNumber, asked: WithdrawIn
) -> Response:
    """Take a certificate back from a lot for which it was put on record by mistake."""
    return clerk.write(actions.withdraw, code, number, asked)


@router.get("/claims/{code}", response_model=ClaimsOut)
def show_claims(clerk: Reader, code: Code) -> Response:
    """Tell which claims any unit carries: those that every lot it was made of carries."""
    return Answer(clerk.read(queries.claims, code))
