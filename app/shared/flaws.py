"""What is wrong with a value that was typed, so that a page can say it in its own language."""


class Flaw(ValueError):  # noqa: N818 - an answer, not an error
    """Words with places for figures, `%(most)s`, and the figures beside them.

    Pydantic answers it as any `ValueError`; a page looks the words up and fills the figures in.
    """

    def __init__(self, words: str, **figures: object) -> None:
        super().__init__(words % figures)
        self.words = words
        self.figures = figures
