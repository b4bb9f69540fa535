"""Renews the pictures of the notes: `python -m tests.web.renew`.

Runs the browser tests, which take the pictures that the notes name. What changed is to be looked at
before it is committed.
"""

import os
import sys
from pathlib import Path

import pytest

if __name__ == "__main__":
    os.environ["JUTEBOOK_PICTURES"] = "notes"
    here = Path(__file__).parent
    sys.exit(pytest.main(["-n", "0", str(here / "test_in_the_browser.py")]))
