"""Where the service is right and a check of Schemathesis is not: by what was said, not by whom.

A check knows the document alone. It cannot know what is in the book, nor what a schema has no
words for. Each exemption names its reason; whatever else is found is a fault of the service or of
its document.
"""

import json
import re
from typing import Any, Final, NamedTuple


class Exemption(NamedTuple):
    """A refusal that a check takes for a fault."""

    check: str
    problem: str
    why: str
    said: str = ""
    """What `detail` says, as a regular expression."""
    operation: str = ""
    """One operation alone, where it is a matter of that one."""


_RIGHT: Final = "RejectedPositiveData"

EXEMPTIONS: Final = (
    Exemption(_RIGHT, "idempotency-key-reused", "which keys were used is in the book"),
    Exemption(_RIGHT, "precondition-failed", "which version a card has is in the book"),
    Exemption(_RIGHT, "unknown-reference", "what was entered is in the book"),
    Exemption(_RIGHT, "mass-gained", "it follows from two members together, or from the book"),
    Exemption(_RIGHT, "implausible-loss", "it follows from two members together, or from the book"),
    Exemption(_RIGHT, "reaches-too-far", "how far a trace reaches is in the book"),
    Exemption(_RIGHT, "malformed-gs1", "the rules of GS1 are no pattern of a text"),
    Exemption(_RIGHT, "bad-request", "cursors are given out, not made", "The cursor is none"),
    Exemption(_RIGHT, "bad-request", "a schema lets NUL into any text", "has a NUL character"),
    Exemption(_RIGHT, "unsupported-media-type", "no schema says what a picture is",
              "are no picture that is read here"),
    Exemption("AcceptedNegativeData", "precondition-failed",
              "the version is looked at before what is changed; it is refused either way"),
    Exemption("AcceptedNegativeData", "too-large", "the size is looked at before what is in it"),
    Exemption("MissingHeaderNotRejected", "precondition-required",
              "RFC 6585 has 428 for a change without If-Match, and the check 406 or 400"),
    Exemption("AllowHeaderMismatch", "method-not-allowed",
              "GET there is `GET /drills/{code}` of a drill that is called `pick`",
              operation="POST /api/v1/drills/pick"),
)  # fmt: skip

BROKE_NOTHING: Final = "Invalid component: positive test case"
"""What Schemathesis says of a request that it meant to break and left as it was."""

_SAID_BY_THE_LIBRARY: Final = re.compile(
    "(Input|String|Field|Extra inputs|List|Dictionary|Set|Datetime|Date|Unable) "
    "|Decimal (?!input should have no more than . decimal places)"
)
"""How Pydantic words a constraint of its own, which the document has, too.

How many decimals it says in words alone: in binary no number is a multiple of a thousandth.
"""
_SAID_BY_THE_HOUSE: Final = re.compile(
    "a code has 2 to 32 |.* cannot be emptied$|the change changes nothing|a change of zero|"
    "a mass must be above zero|a mass is a JSON number|a number from 0 to |a JSON object is wanted"
)
"""Rules of the house's own wording that the document has as well."""


def is_exempt(check: str, operation: str, response: Any) -> bool:
    """Tell whether what a check took for a fault is none."""
    told = _problem(response)
    problem = str(told.get("type", "")).removeprefix("/problems/")
    if check == _RIGHT and problem == "invalid":
        return not _is_in_the_document(told, _json(response.request.body))
    return any(
        (each.check, each.problem) == (check, problem)
        and each.operation in {"", operation}
        and re.search(each.said, str(told.get("detail", "")))
        for each in EXEMPTIONS
    )


def _is_in_the_document(told: dict[str, Any], sent: Any) -> bool:
    """Tell whether something was refused that the document says: then one of the two is wrong.

    All else that is `invalid` the house refuses in its own words: which members go together, the
    arithmetic of a code, what follows from the book, more decimals than there may be.
    """
    return any(
        (_SAID_BY_THE_LIBRARY.match(each["detail"]) or _SAID_BY_THE_HOUSE.match(each["detail"]))
        and not _no_schema_says_so(each, sent)
        for each in told.get("errors", [])
    )


def _no_schema_says_so(flaw: dict[str, str], sent: Any) -> bool:
    """Tell whether `5.0` was sent, an integer to a schema alone, or text that Python finds blank.

    To Python some control characters are blanks, too, and are to no pattern of a schema.
    """
    try:
        for step in flaw.get("pointer", "#").split("/")[1:]:
            sent = sent[int(step)] if isinstance(sent, list) else sent[step]
    except KeyError:
        return False  # it is missing
    if flaw["detail"] == "String should have at least 1 character":
        return isinstance(sent, str) and not sent.strip()
    # What may be a name or a number is told that it is neither.
    of_type = flaw["detail"].removeprefix("Input should be a valid ")
    return of_type in {"integer", "string"} and isinstance(sent, float) and sent.is_integer()


def _problem(response: Any) -> dict[str, Any]:
    told = _json(response.content)
    return told if isinstance(told, dict) else {}


def _json(text: Any) -> Any:
    try:
        return json.loads(text or b"null")
    except (TypeError, ValueError):
        return None
