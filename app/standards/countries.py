"""Country codes of ISO 3166-1, and those that were withdrawn from it."""

from functools import lru_cache

import pycountry


def is_country(code: str) -> bool:
    """Tell whether two capital letters are a country code in force."""
    country = pycountry.countries.get(alpha_2=code)
    # The library folds small letters, and signs that only look like letters, which is not its say.
    return country is not None and country.alpha_2 == code


@lru_cache(maxsize=500)
def country_name(code: str) -> str:
    """Name a country as everybody does, or as the standard does where there is no other name."""
    country = pycountry.countries.get(alpha_2=code)
    return code if country is None else getattr(country, "common_name", country.name)


def why_no_country(code: str) -> str:
    """Say why a code is not taken; a withdrawn one is told apart from one that never was."""
    said = f"{code} is no country code of ISO 3166-1 (two letters, such as ET)"
    withdrawn = [
        f"{country.name} until {country.withdrawal_date}"
        for country in pycountry.historic_countries
        if getattr(country, "alpha_2", None) == code
    ]
    return f"{said}: it was withdrawn ({', '.join(withdrawn)})" if withdrawn else said
