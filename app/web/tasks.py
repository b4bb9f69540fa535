"""Tasks: one page each, offered to whoever may do it."""

from collections.abc import Container, Iterable
from enum import StrEnum
from typing import Final, NamedTuple

from app.shared.sign_in import Staff
from app.shared.staff import Permission
from app.web.texts import N_

_FEW: Final = 40
"""So many are looked through at a glance by somebody who does them daily: those of two roles."""


class Room(StrEnum):
    """Where in the house a task is done, in the order the coffee goes through it."""

    STORE = N_("Green store")
    ROASTING = N_("Roasting")
    QUALITY = N_("Quality")
    PACKING = N_("Packing")
    SENDING = N_("Sending")
    BUYING = N_("Buying")
    OFFICE = N_("Office")


class Task(NamedTuple):
    """A page on which one thing is done."""

    path: str
    name: str
    """A verb and what it is done to, marked with `N_`."""
    room: Room
    permission: Permission
    offline: bool = False
    """Whether its form opens and is kept while there is no connection; see `static/worker.js`."""


class RoomTasks(NamedTuple):
    """The tasks of a room, shown or folded away."""

    room: Room
    tasks: list[Task]
    open: bool


def tasks_of(tasks: Iterable[Task], staff: Staff, wanted: Container[str]) -> list[RoomTasks]:
    """List the tasks somebody may do, by room.

    Whoever has many sees those of the rooms with a path that is wanted, and can open the others.
    """
    mine = [task for task in tasks if staff.may(task.permission)]
    few = len(mine) <= _FEW
    rooms = [(room, [task for task in mine if task.room is room]) for room in Room]
    return [
        RoomTasks(room, there, few or any(task.path in wanted for task in there))
        for room, there in rooms
        if there
    ]
