"""Currency codes of ISO 4217."""

import pycountry


def is_currency(code: str) -> bool:
    """Tell whether three capital letters are a currency code in force."""
    currency = pycountry.currencies.get(alpha_3=code)
    # The library folds small letters and their look-alikes, which is not its say.
    return currency is not None and currency.alpha_3 == code
