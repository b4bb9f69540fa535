"""The rules that a GS1 text can break, by name."""

from enum import StrEnum


class Rule(StrEnum):
    """What is wrong with a text, for a program."""

    SHAPE = "shape"
    """It is no element string: nothing in it, or brackets that do not open and close."""
    UNKNOWN_AI = "unknown_ai"
    """No application identifier begins there."""
    LENGTH_OR_CHARACTERS = "length_or_characters"
    """A value is too short or too long, or has characters that its identifier does not allow."""
    CHECK_DIGIT = "check_digit"
    DATE = "date"
    """No day of the calendar, or the day left open where it must be said."""
    CONTENT = "content"
    """A part of a value means nothing, such as a country code that there is not."""
    REPEATED = "repeated"
    """One identifier twice, with two values."""
    NOT_TOGETHER = "not_together"
    """Two identifiers that exclude each other."""
    COMPANION_MISSING = "companion_missing"
    """An identifier that says nothing without another one."""
    NO_KEY = "no_key"
    """A link without a key that names something."""
    LINK = "link"
    """A link whose parts are not where they belong."""
    SYMBOLOGY = "symbology"
    """A symbology identifier that carries no such text."""


class RuleBroken(ValueError):  # noqa: N818 - a finding about a text
    """A text that is no sound GS1 text; says by which rule."""

    def __init__(self, rule: Rule, detail: str, ai: str | None = None) -> None:
        super().__init__(detail)
        self.rule = rule
        self.detail = detail
        self.ai = ai
        """The application identifier at fault, where it is one."""
