"""What stands on the pages of a report, from the summary to the code list.

A long scope does not make a long report: kinds are added up, and of units the first of each kind
are listed with a word on how many more stand in the workbook.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Final

from app.labels.pieces import MM, Ruler
from app.papers.reports import Column, Report
from app.papers.sheets import LEFT, RIGHT, Page
from app.recall.evidence.codes import CODES
from app.recall.evidence.reading import Evidence
from app.recall.schemas import Consignee, ScopedUnit
from app.shared.mass import GRAM, kg_text
from app.shared.times import text

MOST_ROWS: Final = 40
"""Units of a kind that are listed; the workbook has all."""
DRILL: Final = "DRILL"
_LISTED: Final = ("lot", "sack", "roast", "blend", "pack", "return")
_WORD, _NUMBER = 22 * MM, 20 * MM


def lay_out(found: Evidence, ruler: Ruler) -> list[Page]:
    """Lay a report out, but for its picture."""
    heads = [DRILL] if found.case.drill else []
    report = Report(ruler, [*heads, found.heading])
    _summary(report, found)
    _drill(report, found)
    _scope(report, found)
    _kinds(report, found)
    _consignees(report, found)
    _reconciliation(report, found)
    _units(report, found)
    _contact(report, found)
    _log(report, found)
    _sign_off(report, found)
    _codes(report)
    return report.sheet.pages


def _at(moment: datetime | None) -> str:
    return text(moment.replace(microsecond=0)) if moment else ""


def _percent(value: Decimal | None) -> str:
    return "" if value is None else f"{value} %"


def _words(term: str) -> str:
    return term.replace("_", " ")


def _summary(report: Report, found: Evidence) -> None:
    case = found.case
    classed = f"{case.classed.named} ({case.classed.jurisdiction})" if case.classed else "none"
    report.paragraph(found.scope.caution)
    report.facts([
        ("Of", found.firm or "Firm not entered"),
        ("Address", found.firm_address or "Address not entered"),
        ("Kind", case.kind),
        ("Class", classed),
        ("State", _words(case.state)),
        ("Set off by", f"{_words(case.trigger)}: {case.trigger_text}"),
        ("Hazard", case.hazard or "not entered"),
        ("Opened", f"{_at(case.opened_at)} by {case.opened_by}"),
        ("Law, were it real" if case.drill else "What the law asks", case.duty or ""),
        ("Read", f"from the book up to entry {found.entry}, written {_at(found.recorded_at)}"),
    ])  # fmt: skip


def _drill(report: Report, found: Evidence) -> None:
    drill = found.drill
    if drill is None:
        return
    report.title("The drill")
    met = {True: "met", False: "missed", None: "open"}[drill.goal_met]
    ended = (
        f"{_at(drill.completed_at)} by {drill.completed_by}" if drill.completed_by else "not yet"
    )
    signed = f"{_at(drill.signed_off_at)} by {drill.signed_off_by}"
    report.facts([
        ("Rehearsed", "Nobody was told and nothing was held."),
        ("Traced", f"lot {drill.lot or 'none'} forward, pack {drill.pack or 'none'} backward"),
        ("Started", f"{_at(drill.started_at)} by {drill.started_by}"),
        ("Completed", ended),
        ("Minutes", f"{drill.minutes or 'running'}; goal {drill.goal_minutes}, {met}"),
        ("Signed off", signed if drill.signed_off_by else "not yet"),
        ("Gaps", "; ".join(f"{each.gap}: {each.count}" for each in drill.gaps) or "none found"),
        ("Own words", "; ".join(drill.own_gaps)),
        ("Lacks", "; ".join(drill.lacks) or "nothing"),
    ])  # fmt: skip


def _scope(report: Report, found: Evidence) -> None:
    scope = found.scope
    frozen = f"scope {scope.number} of {found.scopes}, as the book had it at entry {scope.at_entry}"
    report.title("Scope")
    report.facts([
        ("Frozen", f"{frozen}, on {_at(scope.frozen_at)} by {scope.frozen_by}"),
        ("Starts at", "; ".join(_start(each) for each in scope.starts)),
        ("Reached", f"units: {scope.units}, all that contain any of it, however little"),
        ("Possible contact", f"units: {scope.possible_contact}, listed apart; in no total"),
        ("Sent", f"bags: {scope.sent_bags}, {kg_text(scope.sent_g)}; customers: {scope.customers}"),
    ])  # fmt: skip


def _start(start: dict[str, object]) -> str:
    def said(value: object) -> str:
        return ", ".join(map(str, value)) if isinstance(value, list) else str(value)

    return ", ".join(f"{_words(name)} {said(value)}" for name, value in start.items())


def _kinds(report: Report, found: Evidence) -> None:
    report.title("Units by kind, and where the suspect coffee was")
    numbers = [
        Column(name, _NUMBER, right=True)
        for name in ("Units", "Made kg", "Left kg", "Suspect kg", "Bags", "Bags left")
    ]
    report.table(
        [Column("Kind", _WORD), *numbers],
        [
            (
                each.kind, str(each.units), kg(each.made_g), kg(each.left_g), kg(each.suspect_g),
                _count(each.bags), _count(each.bags_left),
            )
            for each in found.scope.kinds
        ],
    )  # fmt: skip
    figures = [(_words(name), kg(grams)) for name, grams in found.scope.balance.items()]
    report.table([Column("Suspect coffee, pro rata", 60 * MM), Column("kg", _NUMBER, right=True)],
                 figures)  # fmt: skip
    report.paragraph("The figures below the first add up to it.")


def kg(grams: int | None) -> str:
    """Write grams as kilograms with three places, so that columns of them line up."""
    return "" if grams is None else f"{grams * GRAM}"


def _count(number: int | None) -> str:
    return "" if number is None else str(number)


def _consignees(report: Report, found: Evidence) -> None:
    report.title("Who was sent bags")
    report.table(
        [
            Column("Customer", 42 * MM), Column("Contact", 46 * MM), Column("Dispatch", 30 * MM),
            Column("On", 20 * MM), Column("Bags", 12 * MM, right=True),
            Column("kg", 12 * MM, right=True), Column("Back", 12 * MM, right=True),
        ],
        [row for each in found.scope.consignees for row in _sent(each)],
    )  # fmt: skip


def _sent(each: Consignee) -> Iterator[Sequence[str]]:
    name = f"{each.customer} (possible contact)" if each.possible_contact else each.customer
    for number, sent in enumerate(each.dispatches):
        yield (
            name if number == 0 else "", (each.contact or "none entered") if number == 0 else "",
            sent.code, f"{sent.dispatched_at:%Y-%m-%d}", str(sent.bags), kg(sent.grams),
            str(sent.returned_bags),
        )  # fmt: skip


def _reconciliation(report: Report, found: Evidence) -> None:
    told = found.reconciliation
    bags, effect = told.bags, told.effectiveness
    report.title("Reconciliation, as the book has it now")
    report.paragraph(
        f"{bags.made_bags} bags made = {bags.in_house_bags} in the house + {bags.in_market_bags} "
        f"in the market + {bags.destroyed_here_bags} destroyed here + {bags.adjusted_bags} "
        f"adjusted. In the market: {bags.sent_bags} sent less {bags.returned_bags} returned. "
        f"Both accounts {'close' if told.closes else 'DO NOT CLOSE'} to the bag."
    )
    told_pct, heard_pct = _percent(effect.coverage_pct), _percent(effect.acknowledged_pct)
    there_pct, gone_pct = _percent(effect.recovery_pct), _percent(effect.unaccounted_pct)
    report.facts([
        ("Told", f"{effect.notified} of {effect.consignees} consignees: coverage {told_pct}"),
        ("Acknowledged", f"{effect.acknowledged} of {effect.notified}: {heard_pct}"),
        ("Recovered", f"{effect.recovered_bags} of {bags.made_bags} bags: {there_pct}"),
        ("Unaccounted", f"{effect.unaccounted_bags} of {bags.sent_bags} bags: {gone_pct}"),
    ])  # fmt: skip
    narrow = [
        Column(name, 15 * MM, right=True)
        for name in ("Sent", "Back", "Held", "Destr.", "Sold", "Unacc.")
    ]
    report.table(
        [Column("Consignee", 40 * MM), Column("Told, acknowledged, reported", 44 * MM), *narrow],
        [
            (
                each.customer,
                f"{each.notices} by {each.last_notice_how}, {_day(each.first_notice_at)}; "
                f"{_day(each.acknowledged_at)}; {_day(each.reported_at)}"
                if each.last_notice_how
                else "not told",
                *map(str, (
                    each.sent_bags, each.returned_bags, each.held_bags, each.destroyed_bags,
                    each.sold_bags, each.unaccounted_bags,
                )),
            )
            for each in told.consignees
        ],
    )  # fmt: skip


def _day(moment: datetime | None) -> str:
    return f"{moment:%Y-%m-%d}" if moment else "no"


def _units(report: Report, found: Evidence) -> None:
    report.title("Units")
    for kind in _LISTED:
        some = [unit for unit in found.scope.units_listed if unit.kind == kind]
        if some:
            _listed(report, found, kind, some)


def _listed(report: Report, found: Evidence, kind: str, units: Sequence[ScopedUnit]) -> None:
    known = {unit.code: found.known[unit.id] for unit in found.frozen.scope.units}
    numbers = [
        Column(name, _NUMBER, right=True) for name in ("Made kg", "Left kg", "Suspect kg", "Bags")
    ]
    report.table(
        [Column(kind.capitalize(), 34 * MM), Column("Now", 22 * MM), Column("", 38 * MM), *numbers],
        [
            (
                unit.code + (" *" if unit.start else ""),
                _now(known[unit.code].location, held=known[unit.code].held),
                known[unit.code].lot_mark or known[unit.code].supplier or "",
                kg(unit.made_g), kg(unit.left_g), kg(unit.suspect_g), _count(unit.bags),
            )
            for unit in units[:MOST_ROWS]
        ],
    )  # fmt: skip
    more = len(units) - MOST_ROWS
    if more > 0:
        report.paragraph(f"{more} more of {len(units)} {kind}s stand in the workbook and the CSV.")


def _now(place: str | None, *, held: bool) -> str:
    return ", ".join(said for said in (place, "held" if held else None) if said)


def _contact(report: Report, found: Evidence) -> None:
    listed = found.scope.contact_listed
    if not listed:
        return
    report.title("Possible contact")
    report.paragraph(
        "What may only have touched suspect coffee on a machine or in a silo, hopper or tray, or "
        "was made of what may have. No mass is known of it, and it is in no total."
    )
    report.table(
        [
            Column("Unit", 36 * MM), Column("Kind", _WORD), Column("Where", 34 * MM),
            Column("After", 34 * MM), Column("Left kg", _NUMBER, right=True),
            Column("Bags left", _NUMBER, right=True),
        ],
        [
            (
                each.code, each.kind, each.machine or each.place or "", each.after or "",
                kg(each.left_g), _count(each.bags_left),
            )
            for each in listed[:MOST_ROWS]
        ],
    )  # fmt: skip
    if len(listed) > MOST_ROWS:
        report.paragraph(f"{len(listed) - MOST_ROWS} more stand in the workbook and the CSV.")


def _log(report: Report, found: Evidence) -> None:
    report.title("Timeline")
    report.table(
        [
            Column("At", 36 * MM), Column("What", 26 * MM), Column("Consignee", 34 * MM),
            Column("Said", 46 * MM), Column("By", 18 * MM), Column("Entry", 14 * MM, right=True),
        ],
        [
            (_at(line.at), _words(line.what), line.customer or "", line.said or "", line.by,
             str(line.id))
            for line in found.log
        ],
    )  # fmt: skip


def _sign_off(report: Report, found: Evidence) -> None:
    report.title("Sign-off")
    report.paragraph(
        f"{found.heading}: read and found to be what was done."
        if not found.case.drill
        else f"{found.heading}: a rehearsal, read and found to be what was done."
    )
    report.lines(("Name", "Role", "Date", "Signature"), times=2)


def _codes(report: Report) -> None:
    report.title("What codes and words mean")
    for where, codes in CODES.items():
        report.table(
            [Column(where.capitalize(), 44 * MM), Column("", RIGHT - LEFT - 44 * MM)],
            list(codes.items()),
        )
