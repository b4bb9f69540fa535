"""Where the cards of kinds of crates stand."""

from app.ledger.cards import Shelf
from app.sending.crates.schemas import CrateKindOut
from app.sending.crates.tables import CrateKind

CRATE_KINDS = Shelf("kind of crate", CrateKind, CrateKindOut, key="name", folded="name_key")
