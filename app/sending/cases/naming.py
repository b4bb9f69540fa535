"""How a body names a case: by its own code or by what a scanner reads off its label."""

from typing import Annotated

from pydantic import AfterValidator, BeforeValidator
from stdnum import ean

from app.ledger.schemas import Asked
from app.shared.codes import Code, NewCode
from app.standards.sscc import as_scanned, has_its_form, is_sscc


def _scanned(code: object) -> object:
    return as_scanned(code) if isinstance(code, str) else code


def _fits(code: str) -> str:
    if has_its_form(code) and not is_sscc(code):
        due = ean.calc_check_digit(code[:-1])
        raise ValueError(f"{code} is no SSCC: its check digit would be {due}")
    return code


CaseCode = Annotated[Code, BeforeValidator(_scanned)]
"""The code of a case that exists."""

NewCaseCode = Annotated[NewCode, BeforeValidator(_scanned), AfterValidator(_fits)]
"""A code somebody gives to a case; eighteen digits are an SSCC and have its check digit."""


class CaseNamed(Asked):
    """A case with all that is in it."""

    case: CaseCode
