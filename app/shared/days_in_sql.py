"""Days in statements: SQLite knows no zones, so the clocks are worked out before it is asked."""

from datetime import UTC, date
from typing import Any

from sqlalchemy import ColumnElement, Date, SQLColumnExpression, case, func, literal
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.functions import FunctionElement

from app.shared.days import begin_of, clocks, end_of, zone_here
from app.shared.times import UtcDateTime


def day_in_sql(moment: SQLColumnExpression[Any], first: date, last: date) -> ColumnElement[date]:
    """Tell in a statement which day a moment is of, from the first day to the last, which count."""
    if zone_here() is UTC:
        return func.date(moment, type_=Date())
    *changes, (_, ahead) = clocks(begin_of(first), end_of(last))
    day = _ShiftedDay(moment, literal(ahead))
    if not changes:
        return day
    before = [
        (moment < literal(until, UtcDateTime()), _ShiftedDay(moment, literal(shift)))
        for until, shift in changes
    ]
    return case(*before, else_=day)


class _ShiftedDay(FunctionElement[date]):
    """The day of a moment by clocks that are some seconds ahead of UTC."""

    name = "shifted_day"
    type = Date()
    inherit_cache = True


@compiles(_ShiftedDay, "sqlite")
def _on_sqlite(element: _ShiftedDay, compiler: SQLCompiler, **how: Any) -> str:  # noqa: ANN401
    moment, seconds = (compiler.process(each, **how) for each in element.clauses)
    # By whole seconds: it would round the last microsecond of a day into the next.
    return f"date(substr({moment}, 1, 19), {seconds} || ' seconds')"


@compiles(_ShiftedDay, "postgresql")
def _on_postgresql(element: _ShiftedDay, compiler: SQLCompiler, **how: Any) -> str:  # noqa: ANN401
    moment, seconds = (compiler.process(each, **how) for each in element.clauses)
    return f"CAST({moment} + {seconds} * INTERVAL '1 second' AS DATE)"
