"""The schema: every table of the book, and how a database is brought to it."""

from alembic import command
from sqlalchemy import Engine, MetaData
from sqlmodel import SQLModel

from app.copies import tables as copies
from app.cover.cards import tables as planning_cards
from app.green import tables as green
from app.green.arrivals import tables as arrivals
from app.green.certificates import tables as certificates
from app.green.contracts import tables as contracts
from app.green.counting import tables as counting
from app.green.evidence import tables as evidence
from app.green.identity import tables as identity
from app.green.instruments import tables as instruments
from app.green.picking import tables as picking
from app.green.readings import tables as readings
from app.green.reservations import tables as reservations
from app.labels import tables as labels
from app.ledger import tables as ledger
from app.ledger.corrections import tables as corrections
from app.packing import tables as packing
from app.packing.materials import tables as materials
from app.packing.recipes import tables as recipes
from app.packing.weighing import tables as weighing
from app.places import tables as places
from app.quality import tables as quality
from app.quality.grading import tables as grading
from app.recall import tables as recall
from app.recall.drills import tables as drills
from app.revision import migrations
from app.roasting import tables as roasting
from app.roasting.batches import tables as batches
from app.roasting.colours import tables as roast_colours
from app.roasting.silos import tables as silos
from app.roasting.styles import tables as styles
from app.sending import tables as sending
from app.sending.cases import tables as cases
from app.sending.crates import tables as crates
from app.sending.orders import tables as orders
from app.sending.picking import tables as picks
from app.sending.sales import tables as sales
from app.shared import sign_in
from app.shared.book_file import make_file
from app.shared.db import writing
from app.value import tables as value
from app.web import tables as web

TABLES = (
    sign_in,
    ledger,
    copies,
    corrections,
    places,
    green,
    instruments,
    contracts,
    readings,
    arrivals,
    evidence,
    picking,
    counting,
    identity,
    certificates,
    quality,
    grading,
    roasting,
    silos,
    styles,
    roast_colours,
    reservations,
    batches,
    recipes,
    packing,
    materials,
    weighing,
    orders,
    sending,
    cases,
    picks,
    sales,
    crates,
    labels,
    recall,
    drills,
    web,
    value,
    planning_cards,
)
"""The modules whose import registers every table."""


def metadata() -> MetaData:
    """Name all tables."""
    return SQLModel.metadata


def migrate(engine: Engine, revision: str = "head") -> None:
    """Bring a database to a schema, the newest unless said, in a transaction that holds the pen.

    So two that migrate at once take turns, the second finding nothing left to do, and nobody
    writes into a book whose tables are being changed. Where there is no file yet, one is made.
    """
    make_file(engine)
    config = migrations()
    with writing(engine) as session:
        config.attributes["connection"] = session.connection()
        command.upgrade(config, revision)
