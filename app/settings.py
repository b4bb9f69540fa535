"""What a roastery can set, from the environment (prefix `JUTEBOOK_`) and an `.env` file."""

from decimal import Decimal
from pathlib import Path
from typing import Annotated

from platformdirs import user_data_path
from pydantic import Field
from pydantic_settings import BaseSettings, SettingsConfigDict

Percent = Annotated[Decimal, Field(ge=0, le=100)]


def default_database_url() -> str:
    """Name the SQLite file in the data folder of whoever runs the service."""
    return f"sqlite:///{user_data_path('jutebook', appauthor=False) / 'jutebook.db'}"


class Settings(BaseSettings):
    """Read once at the start and handed down; nothing else reads the environment."""

    model_config = SettingsConfigDict(
        env_prefix="JUTEBOOK_", env_file=".env", extra="ignore", frozen=True
    )

    database_url: str = Field(default_factory=default_database_url)
    """`sqlite:///…` on one machine, `postgresql://…` beyond it."""
    read_database_url: str | None = None
    """A replica for traces, lists and reports; without it the database itself answers them."""
    host: str = "127.0.0.1"
    """The address `jutebook serve` listens on: this machine alone unless set."""
    port: Annotated[int, Field(ge=0, le=65535)] = 8000
    threads: Annotated[int, Field(ge=1, le=100)] = 2
    """Requests worked on at a time; few, for many threads queue badly for one processor."""
    busy_timeout_s: Annotated[int, Field(ge=1, le=600)] = 30
    """How long a write waits for the one before it before it answers 503."""
    hold_on_arrival: bool = True
    """Whether received lots wait on hold until a quality role releases them."""
    emptied_tolerance_pct: Percent = Decimal(2)
    """How far book and scale may differ when a sack is used up, as a part of its net weight."""
    loss_range_pct: tuple[Percent, Percent] = (Decimal(12), Decimal(18))
    """The weight loss a roast is expected to have when the roast itself names no range."""
    colour_tolerance: Annotated[Decimal, Field(ge=0)] = Decimal(3)
    """How far a colour reading may stand from its target when the roast names no tolerance."""
    moisture_range_pct: tuple[Percent, Percent] = (Decimal(8), Decimal("12.5"))
    """Green moisture, wet basis, ends included (ICO Resolution 420)."""
    water_activity_below: Decimal = Decimal("0.70")
    """Green water activity must stay below this (SCA washed arabica standard)."""
    ahead_minutes: Annotated[int, Field(ge=0, le=1440)] = 5
    """How far ahead of the server's clock a time may be before it is refused."""


def project_folder(name: str) -> Path:
    """Find a folder that stands beside the package in a checkout and inside it in a wheel."""
    package = Path(__file__).parent
    inside = package / name
    return inside if inside.is_dir() else package.parent / name
