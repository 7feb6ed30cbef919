"""The one error this package raises: a time that cannot be read, said so that a person can mend it."""

SHOWN_CHARS = 60


def shown(text: str) -> str:
    """Return text quoted and short enough for a message."""
    short = text if len(text) <= SHOWN_CHARS else text[: SHOWN_CHARS - 1] + "…"
    return f"“{short}”"


class TimecodeError(ValueError):
    """A time that cannot be read. `text` is what was given, `reason` what is wrong, `hint` how to mend it."""

    def __init__(self, text: str, reason: str, hint: str = "") -> None:
        self.text = text
        self.reason = reason
        self.hint = hint
        message = f"{shown(text)} cannot be read as a time: {reason}."
        super().__init__(f"{message} {hint}".strip())
