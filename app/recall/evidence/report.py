"""What stands on the pages of a report, from the summary to the code list.

A long scope does not make a long report: kinds are added up, and of units the first of each kind
are listed with a word on how many more stand in the workbook.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Final

from app.labels.pieces import MM, Ruler
from app.papers.reports import Column, Report, kg
from app.papers.sheets import LEFT, RIGHT, Page
from app.recall.drills.schemas import DrillOut
from app.recall.evidence.codes import code_rows
from app.recall.evidence.reading import Evidence, Known
from app.recall.evidence.wording import DRILL, first_large, heading, set_off, started_at, word
from app.recall.reports import WorkedOff
from app.recall.schemas import Consignee, ScopedUnit
from app.shared.days import day_of
from app.shared.speech import N_, PLAIN, Speech, at_here
from app.tracing.flow.wording import KINDS

MOST_ROWS: Final = 40
"""Units of a kind that are listed; the workbook has all."""
_LISTED: Final = ("lot", "sack", "roast", "blend", "pack", "return")
_WORD, _NUMBER = 22 * MM, 20 * MM
_GOAL: Final[Mapping[bool | None, str]] = {
    True: N_("%(minutes)s; goal %(goal)s, met"),
    False: N_("%(minutes)s; goal %(goal)s, missed"),
    None: N_("%(minutes)s; goal %(goal)s, open"),
}


def lay_out(found: Evidence, ruler: Ruler, speech: Speech = PLAIN) -> list[Page]:
    """Lay a report out, but for its picture."""
    heads = [speech.gettext(DRILL)] if found.case.drill else []
    report = Report(ruler, [*heads, heading(found.case, speech)], speech)
    _summary(report, found)
    if found.drill is not None:
        _drill(report, found.drill)
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


def _at(moment: datetime | None, speech: Speech) -> str:
    return at_here(moment, speech) if moment else ""


def _done(moment: datetime | None, by: str | None, speech: Speech) -> str:
    """Say when something was done and by whom."""
    return speech.gettext("%(at)s by %(who)s") % {"at": _at(moment, speech), "who": by}


def _day(moment: datetime, speech: Speech) -> str:
    return speech.day(day_of(moment))


def _percent(value: Decimal | None, speech: Speech) -> str:
    return "" if value is None else f"{speech.number(value)} %"


def _count(number: int | None, speech: Speech) -> str:
    return "" if number is None else speech.number(number)


def _summary(report: Report, found: Evidence) -> None:
    case, say, speech = found.case, report.say, report.speech
    classed = f"{case.classed.named} ({case.classed.jurisdiction})" if case.classed else say("none")
    read = {"entry": found.entry, "at": _at(found.recorded_at, speech)}
    report.paragraph(say(found.scope.caution))
    report.facts([
        (say("Of"), found.firm or say("Firm not entered")),
        (say("Address"), found.firm_address or say("Address not entered")),
        (say("Kind"), word(case.kind, speech)),
        (say("Class"), classed),
        (say("State"), word(case.state, speech)),
        (say("Set off by"), set_off(case, speech)),
        (say("Hazard"), case.hazard or say("not entered")),
        (say("Opened"), _done(case.opened_at, case.opened_by, speech)),
        (say("Law, were it real") if case.drill else say("What the law asks"),
         say(case.duty) if case.duty else ""),
        (say("Read"), say("from the book up to entry %(entry)s, written %(at)s") % read),
    ])  # fmt: skip


def _drill(report: Report, drill: DrillOut) -> None:
    say, speech = report.say, report.speech
    report.title(say("The drill"))
    none, not_yet = say("none"), say("not yet")
    traced = {"lot": drill.lot or none, "pack": drill.pack or none}
    took = {
        "minutes": say("running") if drill.minutes is None else speech.number(drill.minutes),
        "goal": speech.number(drill.goal_minutes),
    }
    ended = _done(drill.completed_at, drill.completed_by, speech)
    signed = _done(drill.signed_off_at, drill.signed_off_by, speech)
    gaps = "; ".join(f"{say(each.gap)}: {speech.number(each.count)}" for each in drill.gaps)
    report.facts([
        (say("Rehearsed"), say("Nobody was told and nothing was held.")),
        (say("Traced"), say("lot %(lot)s forward, pack %(pack)s backward") % traced),
        (say("Started"), _done(drill.started_at, drill.started_by, speech)),
        (say("Completed"), ended if drill.completed_by else not_yet),
        (say("Minutes"), say(_GOAL[drill.goal_met]) % took),
        (say("Signed off"), signed if drill.signed_off_by else not_yet),
        (say("Gaps"), gaps or say("none found")),
        (say("Own words"), "; ".join(drill.own_gaps)),
        (say("Lacks"), "; ".join(map(say, drill.lacks)) or say("nothing")),
    ])  # fmt: skip


def _scope(report: Report, found: Evidence) -> None:
    scope, say, speech = found.scope, report.say, report.speech
    told = {
        "number": scope.number, "scopes": found.scopes, "entry": scope.at_entry,
        "at": _at(scope.frozen_at, speech), "who": scope.frozen_by,
        "units": speech.number(scope.units), "contact": speech.number(scope.possible_contact),
        "bags": speech.number(scope.sent_bags), "mass": speech.mass(scope.sent_g),
        "customers": speech.number(scope.customers),
    }  # fmt: skip
    frozen = say("scope %(number)s of %(scopes)s, as the book had it at entry %(entry)s, on %(at)s "
                 "by %(who)s")  # fmt: skip
    sent = say("bags: %(bags)s, %(mass)s; customers: %(customers)s")
    report.title(say("Scope"))
    report.facts([
        (say("Frozen"), frozen % told),
        (say("Starts at"), "; ".join(started_at(each, speech) for each in scope.starts)),
        (say("Reached"),
         say("units: %(units)s, all that contain any of it, however little") % told),
        (say("Possible contact"), say("units: %(contact)s, listed apart; in no total") % told),
        (say("Sent"), sent % told),
    ])  # fmt: skip


def _kinds(report: Report, found: Evidence) -> None:
    say, speech = report.say, report.speech
    report.title(say("Units by kind, and where the suspect coffee was"))
    numbers = [
        Column(name, _NUMBER, right=True)
        for name in (
            say("Units"), say("Made kg"), say("Left kg"), say("Suspect kg"), say("Bags"),
            say("Bags left"),
        )
    ]  # fmt: skip
    report.table(
        [Column(say("Kind"), _WORD), *numbers],
        [
            (
                word(each.kind, speech), _count(each.units, speech), kg(each.made_g, speech),
                kg(each.left_g, speech), kg(each.suspect_g, speech), _count(each.bags, speech),
                _count(each.bags_left, speech),
            )
            for each in found.scope.kinds
        ],
    )  # fmt: skip
    report.table(
        [Column(say("Suspect coffee, pro rata"), 60 * MM), Column("kg", _NUMBER, right=True)],
        [(word(name, speech), kg(grams, speech)) for name, grams in found.scope.balance.items()],
    )
    report.paragraph(say("The figures below the first add up to it."))


def _consignees(report: Report, found: Evidence) -> None:
    say = report.say
    report.title(say("Who was sent bags"))
    report.table(
        [
            Column(say("Customer"), 42 * MM), Column(say("Contact"), 46 * MM),
            Column(say("Dispatch"), 30 * MM), Column(say("On"), 20 * MM),
            Column(say("Bags"), 12 * MM, right=True), Column("kg", 12 * MM, right=True),
            Column(say("Back"), 12 * MM, right=True),
        ],
        [row for each in found.scope.consignees for row in _sent(each, report.speech)],
    )  # fmt: skip


def _sent(each: Consignee, speech: Speech) -> Iterator[Sequence[str]]:
    name, contact = each.customer, each.contact or speech.gettext("none entered")
    if each.possible_contact:
        name = speech.gettext("%(customer)s (possible contact)") % {"customer": name}
    for number, sent in enumerate(each.dispatches):
        yield (
            name if number == 0 else "", contact if number == 0 else "",
            sent.code, _day(sent.dispatched_at, speech), speech.number(sent.bags),
            kg(sent.grams, speech), speech.number(sent.returned_bags),
        )  # fmt: skip


def _reconciliation(report: Report, found: Evidence) -> None:
    told, say, speech = found.reconciliation, report.say, report.speech
    effect = told.effectiveness
    report.title(say("Reconciliation, as the book has it now"))
    figures = {**told.bags.model_dump(), **effect.model_dump()}
    said = {
        name: _percent(number, speech) if name.endswith("_pct") else _count(number, speech)
        for name, number in figures.items()
    }
    closes = (
        say("Both accounts close to the bag.")
        if told.closes
        else say("Both accounts DO NOT CLOSE to the bag.")
    )
    made = say(
        "%(made_bags)s bags made = %(in_house_bags)s in the house + %(in_market_bags)s in the "
        "market + %(destroyed_here_bags)s destroyed here + %(adjusted_bags)s adjusted. In the "
        "market: %(sent_bags)s sent less %(returned_bags)s returned."
    )
    report.paragraph(f"{made % said} {closes}")
    report.facts([
        (say("Told"), say("%(notified)s of %(consignees)s consignees: coverage %(coverage_pct)s")
         % said),
        (say("Acknowledged"), say("%(acknowledged)s of %(notified)s: %(acknowledged_pct)s") % said),
        (say("Recovered"), say("%(recovered_bags)s of %(made_bags)s bags: %(recovery_pct)s")
         % said),
        (say("Unaccounted"), say("%(unaccounted_bags)s of %(sent_bags)s bags: %(unaccounted_pct)s")
         % said),
    ])  # fmt: skip
    narrow = [
        Column(name, 15 * MM, right=True)
        for name in (
            say("Sent"), say("Back"), say("Held"), say("Destr."), say("Sold"), say("Unacc."),
        )
    ]  # fmt: skip
    report.table(
        [
            Column(say("Consignee"), 40 * MM),
            Column(say("Told, acknowledged, reported"), 44 * MM),
            *narrow,
        ],
        [_worked_off(each, speech) for each in told.consignees],
    )


def _worked_off(each: WorkedOff, speech: Speech) -> Sequence[str]:
    said = speech.gettext("not told")
    if each.last_notice_how:
        told = {
            name: _day(at, speech) if at else speech.gettext("no")
            for name, at in (
                ("told", each.first_notice_at), ("heard", each.acknowledged_at),
                ("reported", each.reported_at),
            )
        }  # fmt: skip
        told |= {"notices": speech.number(each.notices), "how": word(each.last_notice_how, speech)}
        said = speech.gettext("%(notices)s by %(how)s, %(told)s; %(heard)s; %(reported)s") % told
    bags = (
        each.sent_bags, each.returned_bags, each.held_bags, each.destroyed_bags, each.sold_bags,
        each.unaccounted_bags,
    )  # fmt: skip
    return each.customer, said, *map(speech.number, bags)


def _units(report: Report, found: Evidence) -> None:
    report.title(report.say("Units"))
    known = {unit.code: found.known[unit.id] for unit in found.frozen.scope.units}
    for kind in _LISTED:
        some = [unit for unit in found.scope.units_listed if unit.kind == kind]
        if some:
            _listed(report, known, kind, some)


def _listed(
    report: Report, known: Mapping[str, Known], kind: str, units: Sequence[ScopedUnit]
) -> None:
    say, speech = report.say, report.speech
    numbers = [
        Column(name, _NUMBER, right=True)
        for name in (say("Made kg"), say("Left kg"), say("Suspect kg"), say("Bags"))
    ]
    report.table(
        [
            Column(first_large(word(kind, speech)), 34 * MM), Column(say("Now"), 22 * MM),
            Column("", 38 * MM), *numbers,
        ],
        [
            (
                unit.code + (" *" if unit.start else ""),
                _now(known[unit.code], speech),
                known[unit.code].lot_mark or known[unit.code].supplier or "",
                kg(unit.made_g, speech), kg(unit.left_g, speech), kg(unit.suspect_g, speech),
                _count(unit.bags, speech),
            )
            for unit in units[:MOST_ROWS]
        ],
    )  # fmt: skip
    more = len(units) - MOST_ROWS
    if more > 0:
        whole = speech.ngettext(*KINDS[kind], len(units)) % {"number": len(units)}
        report.paragraph(
            say("%(more)s more of %(units)s stand in the workbook and the CSV.")
            % {"more": more, "units": whole}
        )


def _now(known: Known, speech: Speech) -> str:
    held = speech.gettext("held") if known.held else None
    return ", ".join(said for said in (known.location, held) if said)


def _contact(report: Report, found: Evidence) -> None:
    listed, say, speech = found.scope.contact_listed, report.say, report.speech
    if not listed:
        return
    report.title(say("Possible contact"))
    report.paragraph(say(
        "What may only have touched suspect coffee on a machine or in a silo, hopper or tray, or "
        "was made of what may have. No mass is known of it, and it is in no total."
    ))  # fmt: skip
    report.table(
        [
            Column(say("Unit"), 36 * MM), Column(say("Kind"), _WORD), Column(say("Where"), 34 * MM),
            Column(say("After"), 34 * MM), Column(say("Left kg"), _NUMBER, right=True),
            Column(say("Bags left"), _NUMBER, right=True),
        ],
        [
            (
                each.code, word(each.kind, speech), each.machine or each.place or "",
                each.after or "", kg(each.left_g, speech), _count(each.bags_left, speech),
            )
            for each in listed[:MOST_ROWS]
        ],
    )  # fmt: skip
    if len(listed) > MOST_ROWS:
        report.paragraph(say("%(more)s more stand in the workbook and the CSV.") % {
            "more": len(listed) - MOST_ROWS,
        })  # fmt: skip


def _log(report: Report, found: Evidence) -> None:
    say, speech = report.say, report.speech
    report.title(say("Timeline"))
    report.table(
        [
            Column(say("At"), 36 * MM), Column(say("What"), 26 * MM),
            Column(say("Consignee"), 34 * MM), Column(say("Said"), 46 * MM),
            Column(say("By"), 18 * MM), Column(say("Entry"), 14 * MM, right=True),
        ],
        [
            (_at(line.at, speech), word(line.what, speech), line.customer or "", line.said or "",
             line.by, str(line.id))
            for line in found.log
        ],
    )  # fmt: skip


def _sign_off(report: Report, found: Evidence) -> None:
    say = report.say
    report.title(say("Sign-off"))
    said = (
        say("%(case)s: a rehearsal, read and found to be what was done.")
        if found.case.drill
        else say("%(case)s: read and found to be what was done.")
    )
    report.paragraph(said % {"case": heading(found.case, report.speech)})
    report.lines((say("Name"), say("Role"), say("Date"), say("Signature")), times=2)


def _codes(report: Report) -> None:
    report.title(report.say("What codes and words mean"))
    listed: dict[str, list[tuple[str, str]]] = {}
    for where, code, meaning in code_rows(report.speech):
        listed.setdefault(where, []).append((code, meaning))
    for where, rows in listed.items():
        report.table(
            [Column(first_large(where), 44 * MM), Column("", RIGHT - LEFT - 44 * MM)], rows
        )
