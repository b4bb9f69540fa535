"""The QR code of a code: the plain code and nothing else.

Not a link: a scanner that types what it reads must type a code into the field that has the focus,
and a label outlives every address. Measures of the symbol are those of ISO/IEC 18004, from memory.
"""

from functools import lru_cache

import segno

QUIET = 4
"""Modules that stay white around a symbol on every side (ISO/IEC 18004, from memory)."""

Matrix = tuple[bytes, ...]
"""Rows of modules, 1 for dark; without the quiet zone."""


@lru_cache(maxsize=1024)
def matrix(code: str) -> Matrix:
    """Draw the symbol of a code, at error correction M or better.

    The smallest version is taken at M (15 % may be damaged), and then the highest level that still
    fits into it: for the codes the book issues that is H (30 %) in 21 by 21 modules.
    """
    symbol = segno.make_qr(code, error="m", boost_error=True)
    return tuple(bytes(row) for row in symbol.matrix)
