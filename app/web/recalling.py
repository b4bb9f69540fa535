"""The recall desk: a case from what is suspected to its closing, one page a step."""

from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import Annotated, Any, Final, NamedTuple

from fastapi import Response
from pydantic import BaseModel

from app.epcis.routes import tell
from app.epcis.schemas import TellIn
from app.recall import actions, queries, stopping, working_off
from app.recall.drills.wording import scenario_text
from app.recall.evidence.routes import Ending, evidence_file
from app.recall.flow import flow_of_case, title
from app.recall.reports import AcknowledgementIn, NoticeIn, ReportIn
from app.recall.schemas import CaseIn, DecisionIn, ReasonIn, ScopeIn, StopIn
from app.shared.answers import Svg
from app.shared.codes import Code
from app.shared.paging import PageAsked
from app.shared.staff import Permission
from app.shared.texts import speech_in
from app.tracing.flow.svg import draw, draw_in_page
from app.web.desk import Desk, Visiting, may
from app.web.forms import Form
from app.web.kinds import named
from app.web.rendering import as_file
from app.web.routing import page_router
from app.web.shown import mass_kg, number, spoken
from app.web.tasks import Room, Task
from app.web.texts import N_, _, manner, options

router = page_router()

TASKS = (Task("/recalls", N_("Recall cases"), Room.QUALITY, Permission.RECALL),)

Recaller = Annotated[Desk, may(Permission.RECALL)]

MOST: Final = 100
KINDS: Final = {
    "inquiry": N_("inquiry: it is being looked into"),
    "withdrawal": N_("withdrawal: back from businesses, before consumers have it"),
    "recall": N_("recall: consumers are asked too"),
}
TRIGGERS: Final = {
    "complaint": N_("a complaint"),
    "lab_result": N_("a result of a laboratory"),
    "supplier_notice": N_("a notice of a supplier"),
    "reading": N_("a reading"),
    "place_and_time": N_("something at a place"),
    "machine_and_time": N_("something on a machine"),
    "packaging_lot": N_("packing material"),
    "other": N_("something else"),
}
STATES: Final = {
    "opened": N_("opened"),
    "scoped": N_("scoped"),
    "stopped": N_("stopped"),
    "working_off": N_("being worked off"),
    "decided": N_("decided"),
    "closed": N_("closed"),
    "reopened": N_("reopened"),
    "notice": N_("told"),
    "acknowledgement": N_("acknowledged"),
    "report": N_("reported"),
}
HOW: Final = {
    "email": N_("by e-mail"),
    "phone": N_("by telephone"),
    "letter": N_("by letter"),
    "visit": N_("by a visit"),
    "other": N_("otherwise"),
}


class Act(StrEnum):
    """What is done about a case, by the end of its page's address."""

    SCOPE = "scope"
    STOP = "stop"
    DECIDE = "decide"
    NOTICE = "notice"
    ACKNOWLEDGE = "acknowledge"
    REPORT = "report"
    CLOSE = "close"
    REOPEN = "reopen"


class Doing(NamedTuple):
    """An act of the API with the words of its page."""

    body: type[BaseModel]
    action: Callable[..., BaseModel]
    heading: str
    button: str


DOINGS: Final[Mapping[Act, Doing]] = {
    Act.SCOPE: Doing(ScopeIn, actions.extend, N_("Widen the scope"), N_("Freeze the scope")),
    Act.STOP: Doing(StopIn, stopping.stop, N_("Stop what is in the house"), N_("Stop it all")),
    Act.DECIDE: Doing(DecisionIn, actions.decide, N_("Decide"), N_("Book the decision")),
    Act.NOTICE: Doing(
        NoticeIn, working_off.notify, N_("A consignee was told"), N_("Book the notice")
    ),
    Act.ACKNOWLEDGE: Doing(
        AcknowledgementIn, working_off.acknowledge, N_("A consignee had the notice"), N_("Book it")
    ),
    Act.REPORT: Doing(
        ReportIn, working_off.report, N_("What a consignee reports"), N_("Book the report")
    ),
    Act.CLOSE: Doing(ReasonIn, actions.close, N_("Close the case"), N_("Close it")),
    Act.REOPEN: Doing(ReasonIn, actions.reopen, N_("Open the case again"), N_("Open it again")),
}


@router.get("/recalls")
def list_cases(desk: Visiting, page: PageAsked) -> Response:
    """List cases, without drills."""
    cases, following = desk.read(queries.case_page, page, drill=False)
    return desk.show("recalls.html", cases=cases, following=following, states=STATES, kinds=KINDS)


@router.get("/recalls/new")
def show_new(desk: Recaller) -> Response:
    """Ask what is suspected and where it starts."""
    return _new(desk, desk.blank(CaseIn, kind="inquiry"))


def _new(desk: Desk, form: Form[CaseIn]) -> Response:
    return desk.show("recall_new.html", form, by=_by(desk, form), **_words())


def _by(desk: Desk, form: Form[Any]) -> str:
    """Tell by what a start is named: what was typed says it, else the address."""
    ways = ("location", "machine", "material_lot", "reading")
    asked = desk.request.query_params.get("by")
    typed = next((each for each in ways if form.value(f"start.{each}")), None)
    return typed or (asked if asked in ways else "units")


def _words() -> dict[str, Any]:
    return {
        name: options(there)
        for name, there in (("kinds", KINDS), ("triggers", TRIGGERS), ("how", HOW))
    }


@router.post("/recalls/new")
def open_case(desk: Recaller) -> Response:
    """Open the case and go to its page."""
    form = desk.sent(CaseIn)
    if opened := desk.book(form, actions.open_case):
        said = _("The case %(code)s is open.") % {"code": opened["code"]}
        return desk.onward(f"/recalls/{opened['code']}", said)
    return _new(desk, form)


@router.get("/recalls/{code}")
def show_case(desk: Visiting, code: Code) -> Response:
    """Show a case: what to do next, what it reaches, who was told, what is open."""
    found = desk.read(queries.everything, code)
    return desk.show(
        "recall.html", case=found.case, scope=found.scope, told=found.told, log=found.log,
        open_points=[each.text(spoken()) for each in found.open_points],
        state=str(found.case.state), states=STATES, kinds=KINDS, triggers=TRIGGERS, named=named,
        scenario=scenario_text(found.case.trigger_text, spoken()), most=MOST,
    )  # fmt: skip


@router.get("/recalls/{code}/picture")
def show_picture(desk: Visiting, code: Code) -> Response:
    """Show where the coffee of the scope went."""
    case, frozen, flow = desk.read(flow_of_case, code)
    said = title(case, frozen, spoken())
    picture = draw_in_page(flow, said, {}, spoken())
    return desk.show("recall_picture.html", code=code, picture=picture, title=said)


@router.get("/recalls/{code}/picture.svg")
def fetch_picture(desk: Visiting, code: Code) -> Response:
    """Fetch that picture."""
    case, frozen, flow = desk.read(flow_of_case, code)
    picture = Svg(draw(flow, title(case, frozen, spoken()), speech=spoken()))
    picture.headers.update(as_file(f"{code}.svg"))
    return picture


@router.get("/recalls/{code}/do/{act}")
def show_act(desk: Recaller, code: Code, act: Act) -> Response:
    """Show the form of a step."""
    return _act_page(desk, code, act, desk.blank(DOINGS[act].body))


def _act_page(desk: Desk, code: str, act: Act, form: Form[Any]) -> Response:
    found = desk.read(queries.everything, code)
    told = {each.customer: each for each in found.told.consignees} if found.told else {}
    return desk.show(
        "recall_act.html", form, act=str(act), doing=DOINGS[act], case=found.case,
        consignees=[(each, each) for each in told], whom=told.get(form.value("customer")),
        told=found.told, scope=found.scope, by=_by(desk, form),
        open_points=[each.text(spoken()) for each in found.open_points],
        stops_contact=desk.settings.recall_stops_contact, **_words(),
    )  # fmt: skip


@router.post("/recalls/{code}/do/{act}")
def do_act(desk: Recaller, code: Code, act: Act) -> Response:
    """Do a step of the case, and go back to its page."""
    doing = DOINGS[act]
    form = desk.sent(doing.body)
    if done := desk.book(form, doing.action, code):
        return desk.onward(f"/recalls/{code}", _told(act, done))
    return _act_page(desk, code, act, form)


def _told(act: Act, done: dict[str, Any]) -> str:
    if act is Act.STOP:
        return _("%(units)s units are on hold: %(mass)s and %(bags)s bags in the house.") % {
            "units": number(done["held_units"]),
            "mass": mass_kg(done["held_kg"]),
            "bags": number(done["held_bags"]),
        }
    if act is Act.NOTICE:
        return _("Booked. The notice has to say: %(says)s.") % {
            "says": "; ".join(map(_, done["says"]))
        }
    return _("Booked.")


@router.get("/recalls/{code}/case.{ending}")
def fetch_evidence(desk: Visiting, code: Code, ending: Ending) -> Response:
    """Fetch the evidence of a case as a file, in kilograms whatever was chosen for pages."""
    return evidence_file(desk, code, ending, speech_in(manner().language))


@router.get("/recalls/{code}/scopes/{number}/events.jsonld")
def fetch_events(desk: Visiting, code: Code, number: int) -> Response:
    """Fetch a scope as a document of EPCIS."""
    told = tell(desk, TellIn(recall=code, scope=number))
    told.headers.update(as_file(f"{code}-{number}.jsonld"))
    return told
