"""ETag, If-Match and If-None-Match for what can be edited (RFC 9110, conditional requests)."""

import hashlib
import re

from pydantic import BaseModel

from app.shared.problems import Refused


class Versioned(BaseModel):
    """An answer that names the version it shows, so that a change can name it back."""

    version: int

    @property
    def etag(self) -> str:
        """The strong entity tag of this version."""
        return etag(self.version)


def etag(version: int | str) -> str:
    """Write a version, or a hash, as a strong entity tag."""
    return f'"{version}"'


def shown_tag(answer: Versioned) -> str:
    """Tag the version and everything that is shown with it, where more is shown than the card."""
    shown = hashlib.sha256(answer.model_dump_json().encode()).hexdigest()
    return etag(f"{answer.version}.{shown[:12]}")


def card_tags(if_match: str | None) -> str | None:
    """Keep of such tags the version of the card, which is what a change is made on."""
    return None if if_match is None else re.sub(r'"(\d+)\.[0-9a-f]{12}"', r'"\1"', if_match)


def _tags(header: str) -> set[str]:
    """Read the list of entity tags; `*` stands alone or is none of them."""
    tags = {tag.strip() for tag in header.split(",")}
    return tags if tags == {"*"} else tags - {"*"}


def require_match(if_match: str | None, version: int) -> None:
    """Refuse a change of a version that is not the current one.

    `*` matches whatever is there; a weak tag never matches (strong comparison).
    """
    if if_match is None:
        raise Refused("precondition-required", "The change carries no If-Match header.")
    if not {"*", etag(version)} & _tags(if_match):
        raise Refused(
            "precondition-failed",
            f"If-Match was {if_match}; the current ETag is {etag(version)}.",
            etag=etag(version),
        )


def holds(if_none_match: str | None, tag: str) -> bool:
    """Tell whether the reader already holds what this tag is of (weak comparison)."""
    if if_none_match is None:
        return False
    held = {tag.removeprefix("W/") for tag in _tags(if_none_match)}
    return bool({"*", tag} & held)
