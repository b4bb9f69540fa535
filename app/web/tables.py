"""Sessions of people who signed in at the pages."""

from datetime import datetime

from sqlmodel import Field, SQLModel

from app.shared.times import UtcDateTime


class WebSession(SQLModel, table=True):
    """A browser somebody signed in with. Not of the book: it is deleted when it ends."""

    __tablename__ = "web_session"

    id: int | None = Field(default=None, primary_key=True)
    sha256: str = Field(max_length=64, unique=True)
    """Of the secret in the cookie, which is kept nowhere."""
    user_id: int = Field(foreign_key="user_account.id", index=True)
    began_at: datetime = Field(sa_type=UtcDateTime)
    seen_at: datetime = Field(sa_type=UtcDateTime)
    """To the nearest minutes, so that reading a page seldom writes."""
