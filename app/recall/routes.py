"""Recall cases."""

from typing import Annotated, Final

from fastapi import Path, Query, Response

from app.ledger.clerk import Clerk, Keyed, Reader, allowed
from app.recall import actions, comparing, queries, reconciling, stopping, working_off, written
from app.recall.flow import flow_of_case, title
from app.recall.reports import (
    AcknowledgementIn,
    AcknowledgementOut,
    NoticeIn,
    NoticeOut,
    ReconciliationOut,
    ReportIn,
    ReportOut,
)
from app.recall.schemas import (
    CaseIn,
    CaseLine,
    CaseOut,
    CautionedItems,
    ChangesOut,
    ClosedOut,
    DecisionIn,
    FlowOfScope,
    LogLine,
    ReasonIn,
    ScopeBrief,
    ScopeIn,
    ScopeOut,
    StopIn,
    StopOut,
)
from app.shared.answers import PICTURE, Answer, Svg
from app.shared.codes import Code
from app.shared.paging import PageAsked, page_answer
from app.shared.routing import api_router
from app.shared.staff import Permission
from app.tracing.flow.schemas import told
from app.tracing.flow.svg import draw
from app.tracing.queries import CAUTION

router = api_router("recall")

CAUTIONED: Final = {"caution": CAUTION}
"""Stands beside the items of every list."""
Recaller = Annotated[Clerk, allowed(Permission.RECALL)]
CaseCode = Annotated[Code, Path(description="The code of a recall case or a drill")]
ScopeNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]
ScopeAsked = Annotated[
    int | None,
    Query(ge=1, le=2**31 - 1, description="The number of a scope; the newest forward one else"),
]


@router.post("/recalls", status_code=201, response_model=CaseOut, dependencies=[Keyed])
def open_recall(clerk: Recaller, asked: CaseIn) -> Response:
    """Open a case: what set it off, what the hazard is, and what it starts at.

    With a start everything the records connect with it is frozen as the first scope, however small
    its part; what may only have touched it on a machine is listed apart.
    """
    return clerk.write(actions.open_case, asked)


@router.get("/recalls", response_model=CautionedItems[CaseLine])
def list_recalls(
    clerk: Reader, page: PageAsked, drill: Annotated[bool | None, Query()] = None
) -> Response:
    """List cases, oldest first; drills too unless `drill=false`."""
    return page_answer(clerk.request, *clerk.read(queries.case_page, page, drill=drill), CAUTIONED)


@router.get("/recalls/{code}", response_model=CaseOut)
def show_recall(clerk: Reader, code: CaseCode) -> Response:
    """Show a case with its history and its newest scope."""
    return Answer(clerk.read(queries.case, code))


@router.post(
    "/recalls/{code}/scopes", status_code=201, response_model=ScopeOut, dependencies=[Keyed]
)
def extend_recall(clerk: Recaller, code: CaseCode, asked: ScopeIn) -> Response:
    """Freeze a new scope that starts at more; the scopes before stay as they were."""
    return clerk.write(actions.extend, code, asked)


@router.get("/recalls/{code}/scopes", response_model=CautionedItems[ScopeBrief])
def list_recall_scopes(clerk: Reader, code: CaseCode) -> Response:
    """List the scopes of a case that were frozen, each added up."""
    return page_answer(clerk.request, *clerk.read(queries.scopes, code), CAUTIONED)


@router.get("/recalls/{code}/scopes/{number}", response_model=ScopeOut)
def show_recall_scope(clerk: Reader, code: CaseCode, number: ScopeNumber) -> Response:
    """Show a frozen scope whole: every unit, every consignee, possible contact apart."""
    return Answer(clerk.read(queries.scope, code, number))


@router.get("/recalls/{code}/flow", response_model=FlowOfScope)
def show_recall_flow(clerk: Reader, code: CaseCode, scope: ScopeAsked = None) -> Response:
    """Show a frozen scope as coffee that flows from box to box, as in the flow of a trace."""
    case, frozen, flow = clerk.read(flow_of_case, code, scope)
    return Answer(FlowOfScope(
        code=case.row.code, scope=frozen.number, direction=frozen.scope.direction,
        at_entry=frozen.at_entry, **told(flow),
    ))  # fmt: skip


@router.get("/recalls/{code}/flow.svg", response_class=Svg, responses=PICTURE)
def draw_recall_flow(clerk: Reader, code: CaseCode, scope: ScopeAsked = None) -> Response:
    """Draw where the coffee of a frozen scope went."""
    case, frozen, flow = clerk.read(flow_of_case, code, scope)
    return Svg(draw(flow, title(case, frozen)))


@router.get("/recalls/{code}/changes", response_model=ChangesOut)
def show_recall_changes(clerk: Reader, code: CaseCode) -> Response:
    """Compare the newest frozen scope with today's."""
    return Answer(clerk.read(comparing.changes, code))


@router.post("/recalls/{code}/stop", status_code=201, response_model=StopOut, dependencies=[Keyed])
def stop_recall(clerk: Recaller, code: CaseCode, asked: StopIn) -> Response:
    """Hold everything the case reaches that is in the house, in one act; list what has left.

    The scope is computed anew while nobody else can write, so nothing slips between. Stopping again
    holds what is new. Releasing goes by the holds.
    """
    return clerk.write(stopping.stop, code, asked)


@router.post(
    "/recalls/{code}/decisions", status_code=201, response_model=CaseOut, dependencies=[Keyed]
)
def decide_recall(clerk: Recaller, code: CaseCode, asked: DecisionIn) -> Response:
    """Decide whether it is an inquiry, a withdrawal or a recall, and its class."""
    return clerk.write(actions.decide, code, asked)


@router.post(
    "/recalls/{code}/notices", status_code=201, response_model=NoticeOut, dependencies=[Keyed]
)
def notify_consignee(clerk: Recaller, code: CaseCode, asked: NoticeIn) -> Response:
    """Put on record that a consignee was told, how and when."""
    return clerk.write(working_off.notify, code, asked)


@router.post(
    "/recalls/{code}/acknowledgements",
    status_code=201,
    response_model=AcknowledgementOut,
    dependencies=[Keyed],
)
def acknowledge_notice(clerk: Recaller, code: CaseCode, asked: AcknowledgementIn) -> Response:
    """Put on record that a consignee had the notice."""
    return clerk.write(working_off.acknowledge, code, asked)


@router.post(
    "/recalls/{code}/reports", status_code=201, response_model=ReportOut, dependencies=[Keyed]
)
def report_bags(clerk: Recaller, code: CaseCode, asked: ReportIn) -> Response:
    """Take down what a consignee says became of its bags; a later report replaces it."""
    return clerk.write(working_off.report, code, asked)


@router.get("/recalls/{code}/reconciliation", response_model=ReconciliationOut)
def reconcile_recall(clerk: Reader, code: CaseCode) -> Response:
    """Account for every bag: made, here, sent, returned, held, destroyed, sold, unaccounted."""
    return Answer(clerk.read(reconciling.reconciliation, code))


@router.get("/recalls/{code}/log", response_model=CautionedItems[LogLine])
def list_recall_log(clerk: Reader, code: CaseCode, page: PageAsked) -> Response:
    """List all that was decided, done and reported about a case, oldest first."""
    return page_answer(clerk.request, *clerk.read(written.log_page, page, code), CAUTIONED)


@router.post(
    "/recalls/{code}/close", status_code=201, response_model=ClosedOut, dependencies=[Keyed]
)
def close_recall(clerk: Recaller, code: CaseCode, asked: ReasonIn) -> Response:
    """Close a case, saying why; what was not done is answered."""
    return clerk.write(actions.close, code, asked)


@router.post(
    "/recalls/{code}/reopen", status_code=201, response_model=CaseOut, dependencies=[Keyed]
)
def reopen_recall(clerk: Recaller, code: CaseCode, asked: ReasonIn) -> Response:
    """Open a closed case again."""
    return clerk.write(actions.reopen, code, asked)
