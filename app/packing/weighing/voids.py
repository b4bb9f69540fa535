"""Taking back a check of weight that was recorded by mistake."""

from app.ledger.corrections.acts import Act, void_act
from app.ledger.corrections.schemas import ActVoided, ActVoidIn
from app.ledger.posting import Pen
from app.ledger.tables import Unit
from app.packing.weighing.tables import CheckWeighing
from app.shared.problems import Refused


def void_check(pen: Pen, number: int, asked: ActVoidIn) -> ActVoided:
    """Say that a check never was; a hold that it placed stays until quality releases it."""
    check = pen.session.get(CheckWeighing, number)
    if check is None:
        raise Refused("not-found", f"There is no check of weight {number}.")
    of = {"pack": pen.session.get_one(Unit, check.pack_id).code}
    act = Act("check_weighing_id", number, of, check.entry_id, check.hold_id)
    return void_act(pen, act, asked)
