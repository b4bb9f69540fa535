"""Half of what Schemathesis makes up names something that is there: read by Schemathesis alone.

`JUTEBOOK_KNOWN` names a JSON file with codes by the name of the parameter.
"""

import json
import os
from pathlib import Path
from typing import Any
from zlib import crc32

import schemathesis

KNOWN: dict[str, list[str]] = json.loads(Path(os.environ["JUTEBOOK_KNOWN"]).read_text())


@schemathesis.hook
def map_path_parameters(_: object, path_parameters: dict[str, Any] | None) -> Any:
    """Put codes that are there in the place of made up ones, always the same for the same."""
    for name, value in (path_parameters or {}).items():
        chosen = crc32(repr(value).encode())
        if name in KNOWN and chosen % 4:
            assert path_parameters is not None
            path_parameters[name] = KNOWN[name][chosen // 4 % len(KNOWN[name])]
    return path_parameters
