"""What is done to words before they are shown: a capital in front, and nothing but what prints."""


def capital(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]


def printable(line: str) -> str:
    """The line without what moves the cursor or changes colours: names come from files."""
    return "".join(sign if sign.isprintable() else "?" for sign in line)
