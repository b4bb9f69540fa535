"""Photos of what was wrong with sacks: sent with a form, kept to the byte, and nothing else."""

from collections.abc import Callable
from io import BytesIO
from typing import Any

import pytest
from fastapi import FastAPI
from PIL import Image

from app.main import open_book
from app.settings import Settings
from tests.api import Api
from tests.green.arrivals.contracted import four_sacks, picture
from tests.green.arrivals.test_photos import a_huge_png
from tests.web.conftest import Visitor, hidden_fields, words

PAGE = "/exceptions/1/photos"


def png(name: str, **more: Any) -> tuple[str, bytes, str]:
    return name, picture(**more), "image/png"


def jpeg_on_its_side() -> bytes:
    """Take a photo as a phone that was held upright writes it: turned by a note in the file."""
    file = BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 6  # Exif 2.32, 4.6.4 A: Orientation 6, the top of the scene is on the right
    Image.new("RGB", (640, 480), "brown").save(file, "JPEG", exif=exif)
    return file.getvalue()


@pytest.fixture
def torn(api: Api) -> str:
    """A torn sack of a lot; returns the code of the delivery."""
    code = str(four_sacks(api)["code"])
    api.post("/lots/GL-1/exceptions", {"kind": "torn", "sacks": 1, "note": "by a hook"})
    return code


def test_several_photos_are_kept_at_once_and_stand_small_on_the_page_of_the_delivery(
    api: Api,
    torn: str,
    visitor_as: Callable[..., Visitor],
    statements: Callable[[], int],
    book_is_sound: Callable[[], None],
) -> None:
    noor = visitor_as("warehouse")
    wrong = noor.fill("/arrivals/GL-1/exception", kind="wet", sacks="2")
    assert wrong.headers["location"] == "/exceptions/2/photos"
    assert f'href="{PAGE}"' in noor.get(f"/deliveries/{torn}").text
    page = noor.get(PAGE)
    assert 'capture="environment"' in page.text
    assert "torn , 1 sack. by a hook" in words(page)
    form = hidden_fields(page.text)
    photos = [png("a.png"), ("b.jpg", jpeg_on_its_side(), "image/jpeg")]

    kept = noor.upload(PAGE, form, *photos)
    again = noor.upload(PAGE, form, *photos)
    same = noor.upload(
        PAGE, hidden_fields(noor.get(PAGE).text), photos[0], png("c.png", colour="red")
    )

    assert [each.headers["location"] for each in (kept, again, same)] == [PAGE] * 3
    assert api.get("/lots/GL-1/exceptions")["items"][0]["photos"] == [1, 2, 3]
    assert [line["kind"] for line in api.get("/entries")["items"]].count("photo") == 3
    for number, (_name, content, media_type) in enumerate(photos, 1):
        shown = noor.get(f"/photos/{number}")
        assert (shown.content, shown.headers["content-type"]) == (content, media_type)
        assert shown.headers["content-security-policy"] == "default-src 'none'; sandbox"
    small = noor.get("/photos/2/small")
    with Image.open(BytesIO(small.content)) as seen:
        assert (seen.format, seen.size, len(seen.getexif())) == ("JPEG", (240, 320), 0)
    statements()
    delivery = noor.get(f"/deliveries/{torn}")
    assert statements() <= 21
    assert delivery.text.count('src="/photos/') == 3
    assert noor.get("/arrivals/GL-1").text.count('src="/photos/') == 3
    book_is_sound()


def test_what_is_no_photo_is_named_and_refused_and_the_others_are_kept(
    api: Api, torn: str, visitor_as: Callable[..., Visitor]
) -> None:
    del torn
    noor = visitor_as("warehouse")
    form = hidden_fields(noor.get(PAGE).text)
    none = noor.upload(PAGE, form, ("", b"", "application/octet-stream"))
    mixed = noor.upload(
        PAGE, form, png("good.png"), ("page.png", b"<svg onload='alert(1)'/>", "image/png"),
        ("bomb.png", a_huge_png(7072, 7072), "image/png"),
        ("other.jpg", picture(), "image/jpeg"),
    )  # fmt: skip
    told = words(mixed)

    assert none.status_code == 422
    assert "Take a picture or choose one." in words(none)
    assert mixed.status_code == 415
    assert "1 photo is kept." in told
    for said in (
        "page.png: The body is said to be image/png; its 24 bytes are no picture",
        "bomb.png: The picture has 7072 x 7072 = 50013184 pixels",
        "other.jpg: The body is said to be image/jpeg and is image/png",
    ):
        assert said in told
    assert api.get("/lots/GL-1/exceptions")["items"][0]["photos"] == [1]
    many = noor.upload(PAGE, form, *[png(f"{n}.png", size=(8, n)) for n in range(7, 14)])
    assert many.status_code == 413
    assert "At most 6 files are taken at once." in words(many)
    assert (
        noor.upload(PAGE, form | {"_key": "k" * 255}, png("d.png", colour="red")).status_code == 303
    )
    api.post("/units/GL-1/void", {"reason": "entered twice"})
    assert noor.upload(PAGE, form, png("e.png", colour="white")).status_code == 409
    for path in ("/exceptions/9/photos", "/photos/9", "/photos/9/small"):
        assert noor.get(path).status_code == 404


@pytest.fixture
def tight(service: FastAPI, database_url: str) -> None:
    """A roastery that takes small photos."""
    service.state.engine.dispose()
    open_book(
        service,
        Settings(database_url=database_url, hold_on_arrival=False, photo_largest_bytes=10_000,
                 _env_file=None),
    )  # fmt: skip


@pytest.mark.usefixtures("tight", "torn")
def test_photos_are_taken_from_nobody_else_and_no_larger_than_they_may_be(
    api: Api, visitor_as: Callable[..., Visitor], stranger: Visitor
) -> None:
    noor, buyer = visitor_as("warehouse"), visitor_as("buyer")
    form = hidden_fields(noor.get(PAGE).text)
    photo = png("a.png")
    evil = {"sec-fetch-site": "cross-site"}
    of_buyer = {"_token": hidden_fields(buyer.get("/account").text)["_token"]}

    assert "Keep the photos" not in buyer.get(PAGE).text
    assert buyer.upload(PAGE, of_buyer, photo).status_code == 403
    assert noor.upload(PAGE, form, photo, **evil).status_code == 403
    assert noor.upload(PAGE, of_buyer, photo).headers["location"] == PAGE  # an old form: again
    assert noor.upload(PAGE, {}, photo).headers["location"] == PAGE
    assert stranger.upload(PAGE, form, photo).headers["location"].startswith("/sign-in?")
    assert noor.post(PAGE, form).status_code == 400
    assert (
        noor.post("/move", form, content_type="multipart/form-data; boundary=x").status_code != 500
    )
    larger = ("large.png", picture() + bytes(10_000), "image/png")
    assert "at most 10000 bytes; this one has" in words(noor.upload(PAGE, form, larger))
    huge = ("huge.png", bytes(1_100_000), "image/png")
    refused = noor.upload(PAGE, form, huge)
    assert (refused.status_code, 'name="photo"' in refused.text) == (413, True)
    assert "All files together have at most 1 MB." in words(refused)
    told = noor.upload(PAGE, form, huge, accept="application/json")
    assert (told.status_code, told.json()["type"]) == (413, "/problems/too-large")
    assert api.get("/lots/GL-1/exceptions")["items"][0]["photos"] == []
