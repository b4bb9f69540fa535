"""What a drill rehearses, in words."""

from typing import Final

from app.shared.speech import N_, PLAIN, Speech

A_DRILL: Final = N_("a drill")
"""What is rehearsed, where nobody says more."""


def scenario_text(scenario: str, speech: Speech = PLAIN) -> str:
    """Say what is rehearsed; what somebody wrote stands as it was written."""
    return speech.gettext(A_DRILL) if scenario == A_DRILL else scenario
