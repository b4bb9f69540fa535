"""States, accounts of bags that close, and what open rules say of recalls."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.recall.rules import (
    Act,
    Bags,
    CaseKind,
    Reported,
    Standing,
    Step,
    part,
    recovered,
    refusal,
    standing,
    state_of,
)
from app.standards.recalls import NOTICE_SAYS, US_CLASSES, Harm, UsClass, duty, to_check

S = Step


@pytest.mark.parametrize(
    ("steps", "state"),
    [
        ([], S.OPENED),
        ([S.OPENED, S.SCOPED, S.DECIDED], S.SCOPED),
        ([S.OPENED, S.SCOPED, S.STOPPED, S.SCOPED], S.SCOPED),
        ([S.OPENED, S.SCOPED, S.STOPPED, S.WORKING_OFF, S.CLOSED, S.REOPENED], S.REOPENED),
    ],
)
def test_the_state_is_the_last_step_but_for_decisions(steps: list[Step], state: Step) -> None:
    assert state_of(steps) is state


@pytest.mark.parametrize(
    ("act", "steps", "kind", "allowed"),
    [
        (Act.STOP, [S.OPENED], CaseKind.RECALL, False),
        (Act.STOP, [S.OPENED, S.SCOPED], CaseKind.RECALL, True),
        (Act.NOTIFY, [S.OPENED, S.SCOPED], CaseKind.RECALL, False),
        (Act.NOTIFY, [S.OPENED, S.SCOPED, S.STOPPED], CaseKind.RECALL, True),
        (Act.NOTIFY, [S.OPENED, S.SCOPED, S.STOPPED, S.SCOPED], CaseKind.RECALL, True),
        (Act.CLOSE, [S.OPENED], CaseKind.WITHDRAWAL, False),
        (Act.CLOSE, [S.OPENED], CaseKind.INQUIRY, True),
        (Act.CLOSE, [S.OPENED, S.SCOPED, S.STOPPED], CaseKind.WITHDRAWAL, True),
        (Act.REOPEN, [S.OPENED, S.SCOPED], CaseKind.INQUIRY, False),
        (Act.REOPEN, [S.OPENED, S.CLOSED], CaseKind.INQUIRY, True),
        (Act.SCOPE, [S.OPENED, S.CLOSED], CaseKind.INQUIRY, False),
        (Act.DECIDE, [S.OPENED, S.CLOSED, S.REOPENED], CaseKind.INQUIRY, True),
    ],
)
def test_what_a_state_allows(act: Act, steps: list[Step], kind: CaseKind, allowed: bool) -> None:
    # Our rule.
    assert (refusal(act, steps, kind) is None) is allowed


def test_bags_in_the_house_and_in_the_market_are_all_the_bags() -> None:
    # Computed for the recorded week by the definition of audit practice (a guide on traceability
    # exercises of a food-safety audit scheme: account for the affected quantity).
    bags = Bags(made=99, in_house=91, sent=12, returned=4, destroyed_here=0)

    assert (bags.in_market, bags.adjusted) == (8, 0)
    assert part(recovered(bags, [standing(12, 4, None)]), bags.made) == Decimal("91.92")
    assert part(bags.returned, bags.sent) == Decimal("33.33")
    assert standing(12, 4, None).unaccounted == 8
    assert part(0, 0) is None


@pytest.mark.parametrize(
    ("said", "held", "unaccounted"),
    [
        (Reported(held=8, booked_back=4), 8, 0),
        (Reported(held=8, sold=4), 4, 0),  # four of the held ones came back since
        (Reported(held=6, returned=4, sold=2), 6, 0),  # they came back as they said
        (Reported(held=6, returned=2, sold=4), 4, 0),  # two as they said, two of the held ones
        (Reported(sold=12), 0, -4),  # more than there were: ask again
        (Reported(held=3, destroyed=1), 0, 7),
    ],
)
def test_bags_that_came_back_after_a_report_count_once(
    said: Reported, held: int, unaccounted: int
) -> None:
    where = standing(12, 4, said)

    assert (where.held, where.unaccounted) == (held, unaccounted)


@given(st.tuples(*[st.integers(0, 50)] * 7))
def test_the_parts_of_what_was_sent_always_add_up(counts: tuple[int, ...]) -> None:
    sent, returned, *said = counts
    where: Standing = standing(sent, returned, Reported(*said))

    parts = where.returned + where.held + where.destroyed + where.sold + where.unaccounted
    assert parts == sent
    assert where.held >= 0


def test_the_duty_to_withdraw_begins_when_food_has_left_the_house() -> None:
    # Regulation (EC) 178/2002, Article 19, as the Food Standards Agency's training site and quick
    # reference guide (June 2019) explain it.
    here = duty(left_the_house=False, at_consumers=None)
    wholesaler = duty(left_the_house=True, at_consumers=False)
    consumers = duty(left_the_house=True, at_consumers=True)
    unknown = duty(left_the_house=True, at_consumers=None)

    assert "block it and record" in here
    assert "authority" in wholesaler
    assert "recall" not in wholesaler
    assert "tell them why" in consumers
    assert "If it may have reached consumers" in unknown
    assert not any("safe" in said for said in (here, wholesaler, consumers, unknown))


def test_classes_of_the_united_states_go_by_the_hazard() -> None:
    # FDA Investigations Operations Manual, 7.1.1.
    assert {harm: str(named) for harm, named in US_CLASSES.items()} == {
        Harm.PROBABLE_AND_SERIOUS: "I",
        Harm.TEMPORARY_OR_REVERSIBLE: "II",
        Harm.SERIOUS_BUT_REMOTE: "II",
        Harm.UNLIKELY: "III",
    }
    assert len(UsClass) == 3


@pytest.mark.parametrize(
    ("level", "of", "checked"),
    [("A", 41, 41), ("B", 40, 5), ("C", 41, 5), ("C", 40, 4), ("D", 41, 1), ("E", 41, 0)],
)
def test_so_many_consignees_are_checked_at_a_level(level: str, of: int, checked: int) -> None:
    # 21 CFR 7.42: 100 %, more than 10 %, 10 %, 2 %, none. From memory.
    assert to_check(level, of) == checked


def test_a_notice_says_what_stop_pass_on_and_what_to_do() -> None:
    # 21 CFR 7.49 (edition of 2007).
    for said, word in zip(NOTICE_SAYS, ("product", "stop", "pass", "do with"), strict=True):
        assert word in said
