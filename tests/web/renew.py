"""Renews the catalogue of texts and the pictures of the notes: `python -m tests.web.renew`.

Brings each language's file to the texts there are; new ones stand there with empty words, to be
written. Then runs the browser tests, which take the pictures that the notes name. With `texts` it
does the first alone. What changed is to be looked at before it is committed.
"""

import os
import sys
from pathlib import Path

import pytest

from tests.web import catalogue

if __name__ == "__main__":
    catalogue.renew()
    if sys.argv[1:] == ["texts"]:
        sys.exit()
    os.environ["JUTEBOOK_PICTURES"] = "notes"
    here = Path(__file__).parent
    tests = [*map(str, here.glob("test_*in_the_browser.py")), str(here / "test_offline.py")]
    sys.exit(pytest.main(["-n", "0", *tests]))
