"""Names of coffee, places, parties and papers: links of GS1, URNs, and a firm's own addresses."""

import pytest

from app.standards.epcis.naming import Naming, broken_key, gln_of, lot_of, plain
from app.standards.gs1.links import parse_link

HOUSE = Naming("https://ns.roastery.example/", "9521234", {"sack": 1, "roast": 2, "blend": 3})
WITHOUT = Naming("https://ns.roastery.example/")


@pytest.mark.parametrize(
    ("urn", "link"),
    [
        # EPCIS 2.0 as GS1's repository shows it in both forms (examples 9.6.3 and 9.6.4).
        ("urn:epc:class:lgtin:0614141.077777.987", "01/00614141777778/10/987"),
        ("urn:epc:class:lgtin:4012345.012345.998877", "01/04012345123456/10/998877"),
        ("urn:epc:idpat:sgtin:4012345.066666.*", "01/04012345666663"),
        # The event hash generator's documentation (github.com/RalphTro/epcis-event-hash-generator).
        ("urn:epc:class:lgtin:4054739.099914.20160711", "01/04054739999148/10/20160711"),
        ("urn:epc:id:sscc:4012345.0000000111", "00/040123450000001112"),
        # By the rule of the Tag Data Standard, computed by hand.
        ("urn:epc:id:sgln:4012345.00001.0", "414/4012345000016"),
        ("urn:epc:id:sgtin:0614141.107346.2017", "01/10614141073464/21/2017"),
    ],
)
def test_a_urn_and_the_link_of_the_same_thing_are_one_name(urn: str, link: str) -> None:
    assert plain(urn) == f"https://id.gs1.org/{link}"


def test_what_is_no_key_of_gs1_keeps_its_name() -> None:
    for name in ("urn:uuid:1", "https://ns.roastery.example/class/sack/S-1", "urn:epc:id:sgtin:x"):
        assert plain(name) == name


def test_with_a_prefix_coffee_places_and_parties_are_named_by_keys_of_gs1() -> None:
    # The company prefix 952 is set aside by GS1 for examples (General Specifications, 1.4).
    assert HOUSE.coffee("sack", "GL24017-S01") == (
        "https://id.gs1.org/01/09521234000013/10/GL24017-S01"
    )
    assert HOUSE.coffee("roast", "RB-3") == "https://id.gs1.org/01/09521234000020/10/RB-3"
    assert HOUSE.coffee("pack", "26110501A", "9521234000105") == (
        "https://id.gs1.org/01/09521234000105/10/26110501A"
    )
    assert HOUSE.place("R03-B2") == "https://id.gs1.org/414/9521234000006/254/R03-B2"
    assert HOUSE.firm == "https://id.gs1.org/417/9521234000006"
    assert HOUSE.box("395212340000000427") == "https://id.gs1.org/00/395212340000000427"
    assert HOUSE.paper("po", "PO 2231") == "urn:epcglobal:cbv:bt:9521234000006:PO%202231"
    for name in (HOUSE.coffee("sack", "S-1"), HOUSE.place("A-01"), HOUSE.firm):
        assert broken_key(name) is None
        assert parse_link(name)


def test_without_a_prefix_everything_is_named_by_addresses_of_one_s_own() -> None:
    assert WITHOUT.coffee("sack", "S-1", "9521234000105") == (
        "https://ns.roastery.example/class/sack/S-1"
    )
    assert WITHOUT.place("A-01") == "https://ns.roastery.example/place/A-01"
    assert WITHOUT.place() == "https://ns.roastery.example/house"
    assert WITHOUT.firm == "https://ns.roastery.example/firm"
    assert WITHOUT.box("395212340000000427") == (
        "https://ns.roastery.example/case/395212340000000427"
    )
    assert WITHOUT.paper("desadv", "DN 1/2") == (
        "https://ns.roastery.example/paper/desadv/DN%201%2F2"
    )


def test_what_no_key_has_room_for_is_named_by_an_address_too() -> None:
    # A lot of GS1 has 20 characters at most (General Specifications, AI 10).
    longest, longer = "A" * 20, "A" * 21
    assert HOUSE.coffee("sack", longest).startswith("https://id.gs1.org/01/")
    assert HOUSE.coffee("sack", longer) == f"https://ns.roastery.example/class/sack/{longer}"
    narrow = Naming("urn:roastery:", "952123412345", {"sack": 1})
    assert narrow.coffee("sack", "S-1") == "urn:roastery:class/sack/S-1"
    assert narrow.gln is None
    assert narrow.firm == "urn:roastery:firm"
    # A pack whose product has no number of trade: none is made up.
    assert HOUSE.coffee("pack", "P-1") == "https://ns.roastery.example/class/pack/P-1"


def test_a_lot_is_read_off_either_form_after_its_escapes() -> None:
    assert lot_of("https://id.gs1.org/01/09521234000013/10/010%2F1402") == "010/1402"
    assert lot_of("urn:epc:class:lgtin:0614141.077777.987") == "987"
    assert lot_of("https://ns.roastery.example/class/sack/S-1") == "S-1"
    assert lot_of("https://id.gs1.org/01/09521234000013") is None
    assert gln_of("https://id.gs1.org/417/9521234000006") == "9521234000006"
    assert gln_of("urn:epc:id:pgln:9521234.00000") == "9521234000006"
    assert gln_of("https://ns.roastery.example/firm") is None


def test_a_wrong_check_digit_is_told_and_addresses_of_others_are_none_of_ours() -> None:
    said = broken_key("https://id.gs1.org/01/09521234000014/10/X")

    assert said == "09521234000014 ends in 4; its check digit is 3"
    assert broken_key("https://else.example/01/09521234000014") is None
