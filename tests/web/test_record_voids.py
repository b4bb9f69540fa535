"""What made no unit and was put on record by mistake is taken back where it is listed."""

from collections.abc import Callable

from tests.api import Api
from tests.makers import furnish
from tests.web.conftest import Visitor, words


def test_clean_downs_and_crates_are_taken_back_where_they_are_listed(
    api: Api,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    furnish(api)
    sam, quill = visitor_as("warehouse"), visitor_as("quality")
    for what in ("DRUM-15", "B-02"):
        assert sam.fill("/clean", what=what, note="brushed out").status_code == 303
    kind = sam.fill("/cards/crates/new", name="Blue crate", tare_kg="1,2", deposit="true")
    assert "Blue crate 1.2 kg yes" in words(sam.get("/cards/crates")).replace("\u202f", " ")
    counted = sam.fill("/crates/count", kind="Blue crate", counted="20", reason="all of them")
    sam.fill("/crates", act="out", customer="Café Nord", crates__0__kind="Blue crate",
             crates__0__count="5")  # fmt: skip
    again = sam.fill("/crates/count", kind="Blue crate", counted="15", reason="all of them")
    short = sam.fill("/void/crates/1", reason="no such count")

    assert (kind.status_code, counted.headers["location"]) == (303, "/crates")
    assert str(api.get("/crate-kinds/Blue%20crate")["tare_kg"]) == "1.2"
    assert again.status_code == 422
    assert "the book has 15 crates there as well" in words(again).lower()
    assert short.status_code == 409
    statements()
    shown, of_shown = words(sam.get("/crates")), statements()
    assert of_shown <= 9
    assert "Blue crate went out: Café Nord" in shown
    assert "Blue crate counted" in shown

    for listed, act in (
        ("/clean", "/void/cleaning/1?of=DRUM-15"),
        ("/clean", "/void/place-cleaning/1?of=B-02"),
        ("/crates", "/void/crates/2"),
        ("/crates", "/void/crates/1"),
    ):
        assert f'href="{act}"' in sam.get(listed).text
        done = sam.fill(act, reason="typed in twice")
        assert done.headers["location"] == listed
        assert f'href="{act}"' not in sam.get(listed).text
        assert sam.fill(act, reason="again").status_code == 409
    assert [each["voided"] for each in api.get("/crates/movements")["items"]] == [True, True]
    assert api.get("/crates")["items"][0]["count"] == 0
    assert api.get("/machines/DRUM-15/clean-downs")["items"][0]["voided"]
    statements()
    assert "DRUM-15 not on record" in words(quill.get("/clean"))
    assert statements() <= 5
    assert quill.get("/crates/count").status_code == 403
    book_is_sound()
