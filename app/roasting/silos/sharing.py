"""Pouring out of what has mixed: some of everything that is in it."""

from collections.abc import Sequence

from app.shared.mass import Grams, share_out


def poured(total_g: int, left_g: Sequence[int]) -> list[int]:
    """Split what is poured in proportion to what is left of each, without losing a gram.

    Each gives at least one gram where there are as many grams as units, so that a trace reaches
    all of them; what is too little to share out comes off the fullest.
    """
    shares: list[int] = list(share_out(Grams(total_g), left_g))
    if total_g >= len(left_g):
        for i, share in enumerate(shares):
            if share == 0:
                fullest = max(range(len(shares)), key=shares.__getitem__)
                shares[fullest] -= 1
                shares[i] = 1
    return shares
