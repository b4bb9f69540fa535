"""Which application identifiers go together.

The tables are the facts of the GS1 General Specifications, 4.13 and 4.14 (invalid pairs and
mandatory associations of element strings), and of the GS1 Digital Link standard, URI syntax. `n`
stands for any digit; `+` joins identifiers that are needed at once.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

from app.standards.gs1.rules import Rule, RuleBroken

_Table = tuple[tuple[str, str], ...]

_TRADE: Final = "01 02 03 8006 8026"
_NET: Final = (
    "310n 311n 312n 313n 314n 315n 316n 320n 321n 322n 323n 324n 325n 326n 327n 328n 329n "
    "350n 351n 352n 356n 357n 360n 361n 364n 365n 366n"
)
"""Measures of what is inside."""
_GROSS: Final = (
    "330n 331n 332n 333n 334n 335n 336n 340n 341n 342n 343n 344n 345n 346n 347n 348n 349n "
    "353n 354n 355n 362n 363n 367n 368n 369n"
)
"""Measures of a unit with its packaging."""
_MEASURED: Final = "30 31nn 32nn 35nn 36nn"

_NEEDS: Final[_Table] = (
    ("02 8026", "37"),
    ("10 11 13 15 16 20 240 241 422", _TRADE),
    ("17", f"{_TRADE} 255"),
    ("12 391n 415", "8020"),
    ("21 251 7021 8012", "01 03 8006"),
    ("22 235 337n 710 711 712 713 714 715 716 717 8001 8014 8200", "01"),
    ("242 7001", "01 02 8006 8026"),
    ("243", "01 03"),
    ("250", "01+21 03+21 8006+21"),
    ("254", "414"),
    (f"30 {_NET} 8005", "01 02"),
    ("7002 7005 7006 7007 7008 7009 703n", "01 02"),
    (_GROSS, "00 01"),
    ("37", "00+02 00+8026"),
    ("390n", "255 8020"),
    ("392n", "01+30 01+31nn 01+32nn 01+35nn 01+36nn"),
    ("393n 395n", _MEASURED),
    ("394n 8111", "255"),
    ("403 7041 4300 4301 4302 4304 4305 4306 4307 4308 4309", "00"),
    ("4310 4311 4312 4314 4315 4316 4317 4318 4319", "00"),
    ("4320 4321 4322 4323 4324 4325 4326 4330 4331 4332 4333", "00"),
    ("4303", "4302"),
    ("4313", "4312"),
    ("423 424 425 426 7003 7010 7011 8008", "01 02 03"),
    ("427", "01+422 02+422 03+422"),
    ("7004", "01+10 03+10"),
    ("7020", "01+416 03+416 8006+416"),
    ("7022", "01+7021 03+7021 8006+7021"),
    ("723n", "01 8004"),
    ("7240", "01 8006"),
    ("7241 7242 7253 7254 7255 7256 8019", "8017 8018"),
    ("7250 7251 7252 7257 7259", "8018"),
    ("7258", "8018+7259"),
    ("8007 8020", "415"),
    ("8009", "00 01 03"),
    ("8011", "8010"),
    ("8030", "00 01+21 03+21 253 255 8003 8004 8006+21 8010+8011 8017 8018"),
    ("8040", "01+21"),
    ("8041 8042 8043", "01+21+8040"),
)

_EXCLUDES: Final[_Table] = (
    ("01", "37 255"),
    ("02", "01 03"),
    ("03", "01 02 37 235"),
    ("21", "235"),
    ("255", "01 02 415 8006 8020 8026"),
    ("390n", "391n 394n 8111"),
    ("392n", "393n"),
    ("394n", "8111"),
    ("395n", "392n 393n 8005"),
    ("420", "421"),
    ("421", "4307"),
    ("422 423 424 425", "426"),
    ("4330", "4331"),
    ("4331", "4330"),
    ("4332", "4333"),
    ("4333", "4332"),
    ("7240", "03"),
    ("7250", "7251"),
    ("7251", "7250"),
    ("7253 7254 7255", "7256 7259"),
    ("7259", "7256"),
    ("8006", "01 03 37"),
    ("8017", "8018"),
    ("8018", "8017"),
    ("8026", "02 03 8006"),
)
_ONE_OF_A_FAMILY: Final = frozenset(f"{_NET} {_GROSS} 337n 390n 391n 392n 393n 394n 395n".split())
"""One weight, one price: the last digit is where the decimal point stands."""

KEYS: Final[Mapping[str, tuple[tuple[str, ...], ...]]] = {
    "00": (), "01": (("22", "10", "21"), ("235",)), "253": (), "255": (), "401": (), "402": (),
    "414": (("254",), ("7040",)), "415": (("8020",),), "417": (("7040",),), "8003": (),
    "8004": (("7040",),), "8006": (("22", "10", "21"),), "8010": (("8011",),), "8013": (),
    "8017": (("8019",),), "8018": (("8019",),),
}  # fmt: skip
"""What a link can name, and what may follow in its path, in one of these orders."""

NO_ATTRIBUTE: Final = frozenset({
    "03", "21", "22", "235", "254", "7040", "7041", "8011", "8014", "8019", "8020", "8040", "8041",
    "8042", "8043", "8200",
})  # fmt: skip
"""What may not stand in the query of a link."""

_SERIAL_AFTER: Final = {"253": 13, "255": 13, "8003": 14}
"""How many characters come before the serial number, which need not be there."""


def _laid_out(table: _Table) -> Mapping[str, tuple[frozenset[str], ...]]:
    return {
        ai: tuple(frozenset(each.split("+")) for each in named.split())
        for ais, named in table
        for ai in ais.split()
    }


NEEDS: Final = _laid_out(_NEEDS)
"""By identifier, the sets of which one must be there."""
EXCLUDES: Final = _laid_out(_EXCLUDES)


def names(ai: str) -> Iterator[str]:
    """Name an identifier as the tables may: `3103`, `310n`, `31nn`."""
    yield from (ai, f"{ai[:-1]}n", f"{ai[:-2]}nn")


def one_of_a_family(ai: str) -> bool:
    """Tell whether an identifier excludes those that differ from it in the last digit."""
    return f"{ai[:-1]}n" in _ONE_OF_A_FAMILY


def check_together(pairs: Iterable[tuple[str, str]]) -> None:
    """Hold identifiers and their values against one another.

    Raises:
        RuleBroken: for one identifier with two values, for two that exclude each other, and for
            one that says nothing without another.
    """
    values: dict[str, str] = {}
    for ai, value in pairs:
        if values.setdefault(ai, value) != value:
            said = f"({ai}) stands there twice, as {values[ai]} and as {value}"
            raise RuleBroken(Rule.REPEATED, said, ai)
    there: dict[str, list[str]] = {}
    for ai in values:
        for name in names(ai):
            there.setdefault(name, []).append(ai)
    for check in (_check_alone, _check_company):
        for ai in values:
            check(ai, there)
    _check_signed(values)


def _check_alone(ai: str, there: Mapping[str, Sequence[str]]) -> None:
    """Refuse what an identifier excludes."""
    excluded = [name for own in names(ai) for each in EXCLUDES.get(own, ()) for name in each]
    if one_of_a_family(ai):
        excluded.append(f"{ai[:-1]}n")
    other = next((each for name in excluded for each in there.get(name, ()) if each != ai), None)
    if other is not None:
        raise RuleBroken(Rule.NOT_TOGETHER, f"({ai}) and ({other}) exclude each other", ai)


def _check_company(ai: str, there: Mapping[str, Sequence[str]]) -> None:
    """Refuse an identifier without what it needs."""
    needed = [each for name in names(ai) for each in NEEDS.get(name, ())]
    if needed and not any(each <= there.keys() for each in needed):
        wanted = " or ".join("".join(f"({one})" for one in sorted(each)) for each in needed)
        raise RuleBroken(Rule.COMPANION_MISSING, f"({ai}) says nothing without {wanted}", ai)


def _check_signed(values: Mapping[str, str]) -> None:
    """Refuse a digital signature of something that has no number of its own."""
    for ai, body in _SERIAL_AFTER.items() if "8030" in values else ():
        if ai in values and len(values[ai]) <= body:
            raise RuleBroken(
                Rule.COMPANION_MISSING, f"(8030) signs one thing: ({ai}) needs its serial", "8030"
            )
