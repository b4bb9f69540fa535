"""Names that people give to suppliers, customers, kinds of crates, styles and recipes."""

from unicodedata import normalize


def fold_name(name: str) -> str:
    """Bring a name to the form in which it is compared.

    Whatever its capitals and however its accents were typed (the canonical caseless match of the
    Unicode Standard, section 3.13), with any run of spaces as one. Letters of two scripts that look
    alike stay two letters: names are written in every script.
    """
    return normalize("NFC", normalize("NFD", " ".join(name.split())).casefold())
