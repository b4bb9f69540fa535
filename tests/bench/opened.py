"""A book that is opened by an administrator, to be filled and measured."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import NamedTuple

from sqlalchemy import Engine

from app.main import create_app
from app.schema import migrate
from app.settings import Settings
from app.shared.db import writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.api import Api
from tests.makers import furnish


class Opened(NamedTuple):
    """A service on a migrated database, and who may do everything there."""

    settings: Settings
    engine: Engine
    token: str
    api: Api


@contextmanager
def opened(url: str, *, furnished: bool = True) -> Iterator[Opened]:
    """Open a book; its statements take as long as they need, for filling it takes minutes."""
    settings = Settings(
        database_url=url, hold_on_arrival=False, token_requests_a_minute=10_000_000,
        _env_file=None,
    )  # fmt: skip
    service = create_app(settings.model_copy(update={"statement_seconds": 0}))
    engine: Engine = service.state.engine
    migrate(engine)
    with writing(engine) as session:
        token = add_token(session, "bench", [Role.ADMIN])
    api = Api(service, token)
    try:
        if furnished:
            furnish(api)
        yield Opened(settings, engine, token, api)
    finally:
        api.close()
        engine.dispose()
