"""Styles of roasts."""

from sqlalchemy import JSON, BigInteger, Column, String, Text
from sqlmodel import Field

from app.ledger.cards import Card
from app.roasting.rules import ColourForm


class Style(Card, table=True):
    """What a roast is judged by when it names the style. Per cent and colours in thousandths."""

    name: str = Field(max_length=200)
    name_key: str = Field(default="", max_length=600, unique=True)
    loss_milli: int | None = None
    """The weight loss that is aimed at."""
    loss_tolerance_milli: int | None = None
    colour_milli: int | None = Field(default=None, sa_type=BigInteger)
    colour_tolerance_milli: int | None = Field(default=None, sa_type=BigInteger)
    colour_scale: str | None = Field(default=None, max_length=100)
    """The scale the target is on: a colour of another one is not compared."""
    colour_form: ColourForm | None = Field(default=None, sa_column=Column(String(10)))
    drop_milli: int | None = None
    """The temperature to drop at, in thousandths of a degree Celsius."""
    drop_tolerance_milli: int | None = None
    total_s: int | None = None
    """The time from charge to drop."""
    total_tolerance_s: int | None = None
    machine: str | None = Field(default=None, max_length=32, foreign_key="machine.code")
    """The drum it is made for; a machine's code never changes."""
    batch_g: int | None = Field(default=None, sa_type=BigInteger)
    """The usual charge."""
    green: list[dict[str, int | list[str]]] | None = Field(
        default=None, sa_column=Column(JSON(none_as_null=True))
    )
    """Slots of a charge, each with its share in thousandths of a per cent and its lots in order."""
    note: str | None = Field(default=None, sa_column=Column(Text))
