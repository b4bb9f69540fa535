"""A server that is killed while clients write, and clients who all want the same sacks.

A few rounds; `python -m tests.faults` plays as many as are asked for.
"""

from tests.faults.contention import scramble
from tests.faults.killing import kill_again_and_again


def test_every_write_is_accounted_for_when_the_server_is_killed(database_url: str) -> None:
    *_, tally = kill_again_and_again(database_url, rounds=2, clients=8, life_s=1)

    assert tally.flaws == []
    assert tally.acknowledged
    # An answer that nobody read was given for what was booked.
    assert set() < set(tally.unread) <= tally.found_booked


def test_nobody_gets_more_than_there_is_and_nobody_starves(database_url: str) -> None:
    found = scramble(database_url, attempts=96, clients=8)

    assert found.flaws == []
    assert set(found.statuses) <= {200, 201, 409}
