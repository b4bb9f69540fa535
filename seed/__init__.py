"""The demo scenario: one year of an invented roastery, played through the acts of the service."""

from seed.year import Played, Worth, play

__all__ = ["Played", "Worth", "play"]
