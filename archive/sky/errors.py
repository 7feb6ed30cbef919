"""The one error the sky package raises for a request it cannot answer."""


class SkyError(ValueError):
    """Says what was asked, why it cannot be answered, and what to ask instead.

    The text is meant for people: it can be shown on a page or written by a command as it is.
    """
