"""The journal is proved by the API, and by anybody who has its export and a script of few lines."""

import hashlib
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from importlib.util import module_from_spec, spec_from_file_location
from io import BytesIO
from pathlib import Path

import pytest
from sqlalchemy import Engine, text

from app.shared.staff import GRANTS, Permission
from tests.api import Api, problem
from tests.makers import furnish, receive, roast, sack_codes
from tests.records import unguard

SCRIPT = Path(__file__).resolve().parents[2] / "openapi-notes" / "verify_journal.py"


@pytest.fixture(scope="module")
def faults() -> Callable[..., list[str]]:
    """The script's own verdict, without a process for each."""
    spec = spec_from_file_location("verify_journal", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)

    def verdict(export: bytes, *noted: str) -> list[str]:
        return list(module.verify(BytesIO(export), noted))

    return verdict


def exported(api: Api) -> bytes:
    answer = api.send("GET", "/journal/export")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/x-ndjson"
    return answer.content


def as_a_third_party(folder: Path, export: bytes, *noted: str) -> tuple[int, str]:
    """Run the script as somebody would who has the file and Python, and nothing of the house."""
    file = folder / "journal.jsonl"
    file.write_bytes(export)
    run = subprocess.run(  # noqa: S603 - our own script
        [sys.executable, "-I", "-S", SCRIPT, file, *noted],
        cwd=folder, env={"PYTHONUTF8": "1"}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.stderr == ""
    return run.returncode, run.stdout


def test_a_third_party_verifies_the_export_against_hashes_noted_before(
    api: Api, tmp_path: Path
) -> None:
    furnish(api)
    noted = api.get("/journal/proof")["head_sha256"]
    sack = sack_codes(receive(api, 60, name='Ferme „Été" 咖啡', note="a \u2028 b"))[0]
    roast(api, {sack: 30}, 25)
    export = exported(api)
    head = api.get("/journal/proof")["head_sha256"]

    assert as_a_third_party(tmp_path, export, noted, head) == (0, "The journal is sound.\n")
    assert (
        as_a_third_party(tmp_path, export.replace(b'"who":"admin"', b'"who":"nobody"', 1))[0] == 1
    )
    of_another = as_a_third_party(tmp_path, export, "f" * 64)
    assert of_another == (1, f"no entry has the hash {'f' * 64}\n")


def test_a_line_of_the_export_is_what_its_hash_covers(api: Api) -> None:
    furnish(api)

    *lines, last = exported(api).splitlines()

    shown = api.get("/entries?limit=500")["items"]
    assert [hashlib.sha256(line).hexdigest() for line in lines] == [
        entry["sha256"] for entry in shown
    ]
    assert json.loads(last) == {"entries": len(lines), "head_sha256": shown[-1]["sha256"]}


def damaged(export: bytes) -> Iterator[tuple[str, bytes]]:
    """Damage an export in every small way."""
    for place in range(len(export)):
        before, after = export[:place], export[place + 1 :]
        for bit in range(8):
            flipped = bytes([export[place] ^ (1 << bit)])
            yield f"bit {bit} of byte {place} flipped", before + flipped + after
        yield f"byte {place} taken out", before + after
        yield f"a byte put in before {place}", before + b" " + export[place:]
        yield f"cut at byte {place}", before
    yield "a byte at the end", export + b"\n"
    lines = export.splitlines(keepends=True)
    for number in range(len(lines)):
        yield f"line {number} taken out", b"".join(lines[:number] + lines[number + 1 :])
        yield (
            f"line {number} doubled",
            b"".join(lines[: number + 1] + lines[number:]),
        )
    for one in range(len(lines)):
        for other in range(one):
            swapped = list(lines)
            swapped[one], swapped[other] = swapped[other], swapped[one]
            yield f"lines {other} and {one} swapped", b"".join(swapped)


def test_every_changed_bit_missing_byte_and_moved_line_of_an_export_is_found(
    api: Api, faults: Callable[..., list[str]]
) -> None:
    for name in ("Finca El Roble", "Été"):
        api.post("/suppliers", {"name": name})
    sack = sack_codes(receive(api, 60))[0]
    api.post("/adjustments", {"unit": sack, "kg": -1, "reason": "sample"}, Idempotency_Key="a-1")
    export = exported(api)
    assert faults(export) == []

    unseen = [how for how, changed in damaged(export) if not faults(changed)]

    assert len(export) > 1000
    assert unseen == []


def forged(lines: list[bytes]) -> bytes:
    """Write the chain anew, as somebody could who has the whole file."""
    before, written = "0" * 64, b""
    for line in lines:
        entry = json.loads(line) | {"previous_sha256": before}
        sealed = json.dumps(entry, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        before = hashlib.sha256(sealed.encode()).hexdigest()
        written += sealed.encode() + b"\n"
    return written + b'{"entries":%d,"head_sha256":"%s"}\n' % (len(lines), before.encode())


def test_last_lines_cut_off_and_a_chain_forged_anew_show_by_a_hash_noted_elsewhere(
    api: Api, faults: Callable[..., list[str]]
) -> None:
    furnish(api)
    noted = api.get("/journal/proof")["head_sha256"]
    export = exported(api)
    *lines, _ = export.splitlines()

    assert forged(lines) == export
    cut = forged(lines[:-1])
    rewritten = forged([lines[0].replace(b"El Roble", b"El Pino"), *lines[1:]])

    for changed in (cut, rewritten):
        assert changed != export
        assert faults(changed) == [], "no file alone can show that"
        assert faults(changed, noted) == [f"no entry has the hash {noted}"]
    api.post("/suppliers", {"name": "later"})
    assert faults(exported(api), noted) == []


def test_the_proof_says_how_far_the_chain_was_verified_and_where_it_ends(api: Api) -> None:
    assert api.get("/journal/proof")["entries"] == 0
    furnish(api)
    shown = api.get("/entries?limit=500")["items"]

    whole = api.get("/journal/proof")
    part = api.get("/journal/proof?from=3&limit=4")
    rest = api.get(f"/journal/proof?from={part['next_from']}")

    assert (whole["verified_from"], whole["verified_to"]) == (1, len(shown))
    assert (whole["entries"], whole["head_sha256"]) == (len(shown), shown[-1]["sha256"])
    assert whole["head_recorded_at"] == shown[-1]["recorded_at"] <= whole["proved_at"]
    assert (part["verified_from"], part["verified_to"], part["next_from"]) == (3, 6, 7)
    assert (rest["verified_to"], rest["next_from"]) == (len(shown), None)
    assert all(each["sound"] and each["differences"] == [] for each in (whole, part, rest))
    beyond = api.send("GET", f"/journal/proof?from={len(shown) + 1}")
    assert f"ends at entry {len(shown)}" in problem(beyond, 422, "invalid")["detail"]


BEHIND_ITS_BACK = {
    "UPDATE entry SET who = 'nobody' WHERE id = 3": "entry 3 was changed",
    "UPDATE entry SET facts = '[' WHERE id = 3": "entry 3 was changed",
    "UPDATE entry SET sha256 = previous_sha256 WHERE id = 3": "entry 3 was changed",
    "UPDATE entry SET happened_at = '2020-01-01 00:00:00' WHERE id = 3": "entry 3 was changed",
}
"""What somebody could write into the journal without the book, and what is said of it then."""


def test_a_journal_changed_behind_the_book_s_back_is_found_by_proof_check_and_export(
    api: Api, engine: Engine, faults: Callable[..., list[str]]
) -> None:
    furnish(api)
    unguard(engine)
    with engine.connect() as connection:
        kept = connection.execute(
            text("SELECT who, facts, sha256, happened_at FROM entry WHERE id = 3")
        ).one()
    for statement, said in BEHIND_ITS_BACK.items():
        with engine.begin() as connection:
            connection.execute(text(statement))

        proof, check = api.get("/journal/proof"), api.get("/journal/check")

        assert not proof["sound"]
        assert said in proof["differences"][0]
        assert not check["sound"]
        assert said in check["differences"][0]
        if "SET sha256" not in statement:  # the export holds what the hashes cover, not the hashes
            assert faults(exported(api)) != []
        with engine.begin() as connection:
            connection.execute(
                text(
                    "UPDATE entry SET who = :who, facts = :facts, sha256 = :sha256, "
                    "happened_at = :happened_at WHERE id = 3"
                ),
                dict(kept._mapping),
            )
    assert api.get("/journal/proof")["sound"]


def test_a_table_that_is_not_as_the_journal_says_is_found_by_the_check(
    api: Api, engine: Engine
) -> None:
    furnish(api)
    sack = sack_codes(receive(api, 60))[0]
    sound = api.get("/journal/check")
    unguard(engine)
    with engine.begin() as connection:
        connection.execute(text(f"UPDATE unit SET left_g = 61000 WHERE code = '{sack}'"))  # noqa: S608

    check = api.get("/journal/check")

    assert (sound["sound"], sound["differences_count"], sound["units"]) == (True, 0, 2)
    assert sound["entries"] == api.get("/journal/proof")["entries"]
    assert check["differences"] == [
        f"unit {sack} has 61000 g left in the book; its entries give 60000 g"
    ]
    assert api.get("/journal/proof")["sound"], "the chain itself is whole"


def test_a_journal_that_cannot_even_be_read_is_no_sound_one_and_no_error(
    api: Api, engine: Engine, faults: Callable[..., list[str]]
) -> None:
    if engine.dialect.name != "sqlite":
        return  # PostgreSQL takes no text for a time
    furnish(api)
    unguard(engine)
    with engine.begin() as connection:
        connection.execute(text("UPDATE entry SET recorded_at = 'once' WHERE id = 4"))

    proof, check = api.get("/journal/proof"), api.get("/journal/check")

    assert "cannot be read" in proof["differences"][0]
    assert "cannot be read" in check["differences"][0]
    assert exported(api) == b'{"unreadable_after":0}\n'
    assert faults(exported(api)) != []


def test_who_may_take_the_whole_journal_out_may_see_the_prices_in_it(
    api_as: Callable[..., Api],
) -> None:
    may = {role for role, granted in GRANTS.items() if Permission.JOURNAL in granted}

    assert may == {role for role, granted in GRANTS.items() if Permission.PRICES in granted}
    refused = api_as("quality").send("GET", "/journal/export")
    assert problem(refused, 403, "forbidden")["permission"] == "journal:export"
    assert api_as("quality").get("/journal/proof")["sound"]
