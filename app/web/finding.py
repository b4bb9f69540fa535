"""Finding anything by what a scanner read: the field on every page, and the fields of forms."""

from typing import Annotated

from fastapi import Query, Response
from fastapi.responses import RedirectResponse

from app.scans.queries import scan
from app.scans.schemas import LONGEST, FoundOut, ScanIn, ScanOut
from app.shared.answers import Answer
from app.shared.problems import Refused
from app.web.desk import Visiting
from app.web.kinds import address_of, named
from app.web.routing import page_router
from app.web.texts import _

router = page_router()

Text = Annotated[str, Query(min_length=1, max_length=LONGEST)]


@router.get("/find")
def find(desk: Visiting, text: Text) -> Response:
    """Open what a text names; where it names several or nothing, say what it is."""
    read = desk.read(scan, ScanIn(text=text))
    if len(read.found) == 1 and (address := address_of(read.found[0])):
        return RedirectResponse(address, 303)
    return desk.show("found.html", read=read, address_of=address_of, named=named)


@router.get("/scanned")
def check_scan(
    desk: Visiting, text: Text, wanted: Annotated[str, Query(max_length=200)]
) -> Response:
    """Tell a field whether what was scanned is of a kind it takes, and if not what it is."""
    try:
        read = desk.read(scan, ScanIn(text=text))
    except Refused as refused:
        return Answer({"accepted": False, "says": refused.detail})
    kinds = wanted.split()
    fitting = [each for each in read.found if each.kind in kinds and not each.voided]
    if len(fitting) == 1:
        return Answer({
            "accepted": True,
            "code": fitting[0].code,
            "kind": fitting[0].kind,
            "says": f"{named(fitting[0].kind)} {fitting[0].name or ''}".strip(),
        })  # fmt: skip
    return Answer({"accepted": False, "says": _refusal(read, kinds, fitting)})


def _refusal(read: ScanOut, kinds: list[str], fitting: list[FoundOut]) -> str:
    """Say what was scanned and what was wanted."""
    wanted = _(" or ").join(named(kind) for kind in kinds)
    if len(fitting) > 1:
        several = ", ".join(each.code for each in fitting)
        return _("That names several: %(several)s. Scan one of them.") % {"several": several}
    if read.found:
        one = read.found[0]
        return _("That is %(kind)s %(code)s. Wanted: %(wanted)s.") % {
            "kind": named(one.kind),
            "code": one.code,
            "wanted": wanted,
        }
    return f"{read.why_not or ''} {_('Wanted: %(wanted)s.') % {'wanted': wanted}}".strip()
