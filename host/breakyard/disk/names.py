"""Names of files as the disks of other systems take them."""

import unicodedata


def same_on_some_disk(name: str) -> str:
    """A form in which two names are equal that are one file to Windows or a Mac: capitals, composed letters."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())
