"""How papers are worded."""

from datetime import UTC, datetime

import pytest

from app.shared.days import days_in
from app.shared.speech import PLAIN, at_here


@pytest.mark.parametrize(
    ("zone", "written"),
    [
        ("UTC", "2026-03-08 19:00:00 UTC"),
        # Summer time of Victoria, until the first Sunday of April; IANA, file `australasia`.
        ("Australia/Melbourne", "2026-03-09 06:00:00 UTC+11:00"),
        ("America/Santiago", "2026-03-08 16:00:00 UTC-03:00"),
        ("Asia/Kathmandu", "2026-03-09 00:45:00 UTC+05:45"),
    ],
)
def test_a_time_on_a_paper_is_that_of_the_house_and_names_its_zone(zone: str, written: str) -> None:
    with days_in(zone):
        assert at_here(datetime(2026, 3, 8, 19, tzinfo=UTC), PLAIN) == written
