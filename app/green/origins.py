"""Where green coffee comes from, as it is read."""

from typing import Annotated

from pydantic import AfterValidator, BeforeValidator

from app.shared.codes import as_typed, fold
from app.standards.countries import is_country, why_no_country


def _country(code: str) -> str:
    if not is_country(code):
        raise ValueError(why_no_country(code))
    return code


Country = Annotated[str, BeforeValidator(fold), AfterValidator(_country), as_typed("[A-Za-z]{2}")]
