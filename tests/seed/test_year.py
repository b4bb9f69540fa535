"""A whole year has everything in it that somebody who tries the service should meet.

On SQLite alone and in one test, since playing a year takes far longer than any other test; that
both databases keep the same book is tested on the first weeks of it.
"""

from datetime import date, timedelta
from itertools import pairwise

from sqlalchemy import Engine, text
from sqlmodel import Session

from app.ledger.checks import check_book
from app.settings import Settings
from app.shared.db import reading
from seed import play
from tests.seed.journal import evenings, lines

MOST_WORKING_DAYS = 262
"""Of any year: 52 weeks and two days. What happens does not depend on when it ends."""

SITUATIONS = {
    "a whole sack of 60 kg in the big drum": """
        SELECT count(*) FROM flow JOIN machine_run r ON r.unit_id = target_id
        JOIN machine m ON m.id = r.machine_id JOIN unit s ON s.id = source_id
        WHERE m.code = 'DRUM-75' AND s.made_g = 60000 AND grams = 60000""",
    "a whole sack of 69 kg in the big drum": """
        SELECT count(*) FROM flow JOIN machine_run r ON r.unit_id = target_id
        JOIN machine m ON m.id = r.machine_id JOIN unit s ON s.id = source_id
        WHERE m.code = 'DRUM-75' AND s.made_g = 69000 AND grams = 69000""",
    "part of a sack in the small drum": """
        SELECT count(*) FROM flow JOIN machine_run r ON r.unit_id = target_id
        JOIN machine m ON m.id = r.machine_id WHERE m.code = 'DRUM-15' AND grams < 15000""",
    "a lot measured again weeks later": """
        SELECT count(*) FROM (SELECT unit_id FROM reading r JOIN entry e ON e.id = r.entry_id
        WHERE r.kind = 'moisture' AND unit_id IS NOT NULL GROUP BY unit_id
        HAVING julianday(max(e.happened_at)) - julianday(min(e.happened_at)) > 25)""",
    "a lot held because it was too moist, then released": """
        SELECT count(*) FROM hold JOIN hold_release r ON r.hold_id = hold.id
        WHERE hold.reason LIKE 'alarm: moisture%'""",
    "a reading by a meter that had been calibrated": """
        SELECT count(*) FROM reading JOIN instrument i ON i.id = instrument_id
        WHERE i.code = 'MM-2' AND calibration = 'calibrated' AND reading.method = 'meter'""",
    "a meter that failed its calibration and was set right the same day": """
        SELECT count(*) FROM calibration f JOIN calibration s USING (instrument_id, calibrated_on)
        WHERE f.result = 'failed' AND s.result = 'adjusted'""",
    "sacks moved from the rack to the roasters": """
        SELECT count(*) FROM move JOIN location f ON f.id = from_id JOIN location t ON t.id = to_id
        WHERE f.kind = 'level' AND t.kind = 'roaster_side'""",
    "a wet sack held and destroyed": """
        SELECT count(*) FROM sack JOIN unit ON unit.id = sack.unit_id
        JOIN hold_unit h ON h.unit_id = unit.id
        JOIN adjustment a ON a.unit_id = unit.id AND a.reason = 'destroyed'
        WHERE condition = 'wet' AND left_g = 0""",
    "a slack sack": "SELECT count(*) FROM sack WHERE condition = 'slack'",
    "a torn sack": "SELECT count(*) FROM sack WHERE condition = 'torn'",
    "a pack of certified coffee": """
        SELECT count(*) FROM pack WHERE unit_id IN (SELECT p.target_id FROM flow p
        JOIN flow r ON r.target_id = p.source_id JOIN flow s ON s.target_id = r.source_id
        JOIN lot_certificate c ON c.lot_id = s.source_id)""",
    "a missed profile": """
        SELECT count(*) FROM roast WHERE checks LIKE '%"check":"profile","detail":"profile missed"%'
        """,
    "a missed end weight": """
        SELECT count(*) FROM roast, json_each(checks) c
        WHERE c.value ->> 'check' = 'end_weight' AND NOT c.value ->> 'passed'""",
    "a missed colour": """
        SELECT count(*) FROM roast, json_each(checks) c
        WHERE c.value ->> 'check' = 'colour' AND NOT c.value ->> 'passed'""",
    "a roast released at the cupping table and used": """
        SELECT count(*) FROM cupping JOIN flow ON source_id = unit_id WHERE verdict = 'release'""",
    "a roast rejected and destroyed": """
        SELECT count(*) FROM cupping c JOIN unit ON unit.id = c.unit_id
        JOIN adjustment a ON a.unit_id = unit.id AND a.reason = 'destroyed'
        WHERE verdict = 'reject' AND left_g = 0""",
    "a blend of three roasts": """
        SELECT count(*) FROM (SELECT target_id FROM flow JOIN unit t ON t.id = target_id
        WHERE t.kind = 'blend' GROUP BY 1 HAVING count(*) >= 3)""",
    "a blend of a blend": """
        SELECT count(*) FROM flow JOIN unit s ON s.id = source_id JOIN unit t ON t.id = target_id
        WHERE s.kind = 'blend' AND t.kind = 'blend'""",
    "a pack of one roast": """
        SELECT count(*) FROM flow JOIN unit s ON s.id = source_id JOIN unit t ON t.id = target_id
        WHERE s.kind = 'roast' AND t.kind = 'pack'""",
    "bags of 2 kg": """
        SELECT count(*) FROM pack JOIN machine_run USING (unit_id)
        JOIN machine m ON m.id = machine_id WHERE m.code = 'LINE-2KG' AND nominal_g = 2000""",
    "bags of 250 g": """
        SELECT count(*) FROM pack JOIN machine_run USING (unit_id)
        JOIN machine m ON m.id = machine_id WHERE m.code = 'LINE-250' AND nominal_g = 250""",
    "a sack that held less than the book said": """
        SELECT count(*) FROM adjustment WHERE reason = 'draw_difference' AND grams < 0""",
    "a sack that held more than the book said": """
        SELECT count(*) FROM adjustment WHERE reason = 'draw_difference' AND grams > 0""",
    "a count that differed": "SELECT count(*) FROM adjustment WHERE reason = 'count'",
    "a sample of green": """
        SELECT count(*) FROM adjustment a JOIN sack USING (unit_id) WHERE reason = 'sample'""",
    "a sample of roast": """
        SELECT count(*) FROM adjustment a JOIN roast USING (unit_id) WHERE reason = 'sample'""",
    "a retained bag": """
        SELECT count(*) FROM adjustment a JOIN pack USING (unit_id) WHERE reason = 'sample'""",
    "a mistaken roast, voided": """
        SELECT count(*) FROM unit WHERE kind = 'roast' AND voided_entry_id IS NOT NULL""",
    "a mistaken pack, voided": """
        SELECT count(*) FROM unit WHERE kind = 'pack' AND voided_entry_id IS NOT NULL""",
    "a mistaken dispatch, voided": """
        SELECT count(*) FROM unit WHERE kind = 'dispatch' AND voided_entry_id IS NOT NULL""",
    "a return destroyed": """
        SELECT count(*) FROM returned JOIN adjustment a USING (unit_id)
        WHERE a.reason = 'destroyed'""",
    "a return sent on": """
        SELECT count(*) FROM dispatch_line d JOIN returned r ON r.unit_id = d.pack_id""",
    "a machine cleaned": "SELECT count(*) FROM clean_down",
    "a contract of which coffee came": """
        SELECT count(*) FROM purchase_contract WHERE id IN (SELECT contract_id FROM delivery)""",
    "a contract of which nothing came yet": """
        SELECT count(*) FROM purchase_contract
        WHERE id NOT IN (SELECT contract_id FROM delivery) AND component IS NOT NULL""",
    "green paid in dollars": "SELECT count(*) FROM cost_line WHERE currency = 'USD'",
    "green paid in euros": """
        SELECT count(*) FROM cost_line WHERE currency = 'EUR' AND kind = 'purchase'""",
    "a component that is planned by a card": """
        SELECT count(*) FROM planning_card p JOIN style s
        ON p.item = 'component:' || (s.green ->> 0 ->> 'component')""",
    "a lot with its plots and its statement": """
        SELECT count(*) FROM plot_file p JOIN due_diligence d USING (lot_id)
        JOIN due_diligence_statement s ON s.due_diligence_id = d.id""",
    "a lot with plots whose statement is owed": """
        SELECT count(*) FROM plot_file WHERE lot_id NOT IN (SELECT lot_id FROM due_diligence d
        JOIN due_diligence_statement s ON s.due_diligence_id = d.id)""",
    "an order that waits": "SELECT count(*) FROM customer_order",
    "an order that comes round": "SELECT count(*) FROM standing_order",
    "a batch that is planned": "SELECT count(*) FROM planned_batch",
    "a blend held against its recipe": """
        SELECT count(*) FROM blend
        WHERE recipe_version IS NOT NULL AND off_recipe_reason IS NULL""",
    "something booked hours late": """
        SELECT count(*) FROM entry
        WHERE julianday(recorded_at) - julianday(happened_at) > 3.0 / 24""",
}
"""Each with the statement that counts it."""


def test_a_year_has_everything_in_it(other_engine: Engine, house: Settings) -> None:
    played = play(other_engine, house, last_day=date(2026, 6, 10), days=MOST_WORKING_DAYS)

    with reading(other_engine) as session:
        assert list(check_book(session)) == []
        counts = {what: _count(session, sql) for what, sql in SITUATIONS.items()}
        assert min(counts.values()) > 1, {what for what, count in counts.items() if count < 2}
        _look_at_the_size(session)
        _look_at_the_roasts(session)
    _look_at_the_days(other_engine)
    assert None not in (played.worth.sack, played.worth.wet_lot, played.worth.set_aside)


def _count(session: Session, sql: str) -> int:
    return int(session.execute(text(sql)).scalar_one())


def _look_at_the_size(session: Session) -> None:
    roasts = _count(session, "SELECT count(*) FROM roast")
    units = _count(session, "SELECT count(*) FROM unit")
    origins = _count(session, "SELECT count(DISTINCT origin) FROM green_lot")
    suppliers = _count(session, "SELECT count(DISTINCT supplier_id) FROM delivery")
    assert 2_500 < roasts < 4_000
    assert 8_000 < units < 15_000
    assert (origins, suppliers) == (7, 2)


def _look_at_the_roasts(session: Session) -> None:
    losses = session.execute(
        text("""
        SELECT min(100.0 * (charge_g - made_g) / charge_g),
               max(100.0 * (charge_g - made_g) / charge_g)
        FROM roast JOIN unit ON unit.id = unit_id WHERE passed""")
    ).one()
    assert losses[0] >= 13.9
    assert losses[1] <= 18.0
    missed = _count(session, "SELECT count(*) FROM roast WHERE NOT passed")
    rejected = _count(session, "SELECT count(*) FROM cupping WHERE verdict = 'reject'")
    assert 0 < rejected < missed / 3


def _look_at_the_days(engine: Engine) -> None:
    days = dict(evenings(engine))
    assert len(days) == MOST_WORKING_DAYS + 1
    assert all(not packs for packs in days.values()), "the shelves are bare every evening"
    arrivals = [line.happened_at for line in lines(engine) if line.kind == "delivery"]
    gaps = [later - earlier for earlier, later in pairwise(arrivals)]
    assert max(gaps) < timedelta(weeks=6)
