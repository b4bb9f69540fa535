"""Two servers of PostgreSQL with one book: the one that is written to, and its hot standby."""

from contextlib import ExitStack

from app.schema import migrate
from app.settings import Settings
from app.shared.db import open_engine, writing
from app.shared.sign_in import add_token
from app.shared.staff import Role
from tests.postgres import PostgresServer, Standby


class Pair:
    """Two servers with one book; a service writes to the first and reads from the other."""

    def __init__(self, stack: ExitStack, *, synchronous: bool = False) -> None:
        self.primary = stack.enter_context(PostgresServer(durable=True))
        self.primary.create_database("book")
        self._prepare()
        self.standby = stack.enter_context(Standby(self.primary, synchronous=synchronous))
        self.settings = Settings(
            database_url=self.primary.url("book"),
            read_database_url=self.standby.url("book"),
            hold_on_arrival=False,
            busy_timeout_s=5,
            _env_file=None,
        )

    def _prepare(self) -> None:
        engine = open_engine(self.primary.url("book"))
        migrate(engine)
        with writing(engine) as session:
            self.token = add_token(session, "Quill", [Role.ADMIN])
        engine.dispose()
