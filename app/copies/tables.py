"""Which backups were made."""

from datetime import datetime

from sqlalchemy import BigInteger
from sqlmodel import Field, SQLModel

from app.shared.times import UtcDateTime


class BookBackup(SQLModel, table=True):
    """That the book was copied and the copy read back; the copy itself cannot know of it."""

    __tablename__ = "book_backup"

    id: int | None = Field(default=None, primary_key=True)
    made_at: datetime = Field(sa_type=UtcDateTime)
    """When it was begun: nothing that was booked before is missing."""
    who: str = Field(max_length=100)
    file: str = Field(max_length=255)
    """Its name, without the folder: backups are carried away."""
    bytes: int = Field(sa_type=BigInteger)
    sha256: str = Field(max_length=64)
    """Of the file, by which it is known again wherever it is kept."""
    entries: int
    """How many entries of the journal are in it."""
    differences: int
    """How many things differed in it: a book that is not sound is copied as it is."""
