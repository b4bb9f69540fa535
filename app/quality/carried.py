"""What a tasting found goes on for a roast that is booked in the place of a mistaken one."""

from sqlalchemy import select
from sqlmodel import SQLModel, col

from app.ledger.corrections.tables import ActVoid
from app.ledger.posting import Pen, Posting
from app.quality.rules import Decision
from app.quality.tables import DECIDES, Cupping, Verdict


def carry_verdict(pen: Pen, posting: Posting, entry_id: int) -> Decision | None:
    """Let the newest verdict on a replaced roast stand for the new one, unless it released it.

    What limits or stops coffee goes along with it. What lets it go was said of other figures: the
    new roast is judged by its own, and tasted again where it misses a check. What was scrapped
    stays rejected until the new one is scrapped as well.
    """
    if not posting.replaced:
        return None
    tasted = SQLModel.metadata.tables["cupping"]
    newest = pen.session.execute(
        select(*tasted.c)
        .outerjoin(ActVoid, col(ActVoid.cupping_id) == tasted.c.id)
        .where(tasted.c.unit_id == posting.replaced[0], col(ActVoid.entry_id).is_(None))
        .order_by(tasted.c.id.desc())
        .limit(1)
    ).first()
    if newest is None or newest.verdict == Verdict.RELEASE:
        return None
    verdict = Verdict(newest.verdict)
    if verdict is Verdict.SCRAP:
        verdict = Verdict.REJECT
    born = posting.births[0].id
    said = {name: value for name, value in newest._mapping.items() if name != "id"}  # noqa: SLF001 - the public name of a row's columns
    pen.write(Cupping, [said | {"unit_id": born, "entry_id": entry_id, "verdict": verdict}])
    return Decision(DECIDES[verdict], newest.at_most_milli)
