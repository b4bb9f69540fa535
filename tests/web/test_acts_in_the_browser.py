"""Pages of what is done beside the coffee's way, in a real browser: fit for everybody."""

from collections.abc import Callable

import pytest

from tests.api import Api
from tests.makers import furnish
from tests.web.browser import Browser
from tests.web.conftest import PASSWORD

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


def _keep_materials_and_crates(api: Api) -> None:
    api.post("/materials", {"code": "FILM", "name": "Film", "kind": "film", "unit": "metre"})
    came = {"material": "FILM", "code": "ROLL-1", "quantity": 500, "supplier": "Kappa Print",
            "reference": "DN 7"}  # fmt: skip
    api.post("/material-lots", came)
    api.post("/material-lots/ROLL-1/changes", {"counted": 480, "reason": "end of the month"})
    api.post("/material-lots/ROLL-1/changes", {"written_off": 12, "reason": "wet"})
    api.post("/material-lots/ROLL-1/holds", {"reason": "prints off centre"})
    api.post("/crate-kinds", {"name": "Blue crate"})
    api.post("/crates/counts", {"kind": "Blue crate", "counted": 20, "reason": "all of them"})
    api.post("/machines/DRUM-75/clean-downs", {"note": "brushed, blown out"})
    api.post("/locations/B-02/clean-downs", {})


def test_the_pages_beside_the_way_of_the_coffee_are_fit_for_everybody(
    browser: Browser, api: Api, add_person: Callable[..., str]
) -> None:
    furnish(api)
    _keep_materials_and_crates(api)
    browser.sign_in(add_person("Ada", "admin"), PASSWORD)
    for name, path in {
        "clean": "/clean",
        "crates-moved": "/crates",
        "crates-count": "/crates/count",
        "material-lot": "/material/ROLL-1",
        "material-count": "/material/ROLL-1/count",
        "material-release": "/material-holds/1/release",
        "holds-of-material": "/holds",
    }.items():
        browser.examine(name, path)
