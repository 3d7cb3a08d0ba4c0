"""The page that reads a seller's text, and its scripts.

    listing-data.js   the vocabulary and what is said of claims (`packed_listing.py`); loaded when somebody turns to the text
    listing.js        the modules of `modules/listing/` and `modules/kernel/`, joined

The arrays and words of a family, or of all, and the list of families are those of the page that identifies.  What is pasted goes
nowhere.
"""

from collections.abc import Iterator
from functools import partial

from .data_scripts import assigned
from .joined import joined
from .page import File, Page, Values
from .reads import FILE
from .tables import Site

TITLE = "Read a listing"


def pages(site: Site) -> Iterator[Page]:
    """The page."""
    scripts = ("identify-data.js", "listing.js")
    yield Page(
        "listing.html", "listing.html", TITLE, partial(_values, site), styles=("identified.css", "listing.css"), scripts=scripts
    )


def files(site: Site) -> Iterator[File]:
    """The scripts."""
    yield File("listing-data.js", partial(_data, site))
    yield File("listing.js", _script)


def _script() -> bytes:
    return joined("listing/page.js", "tellmarkListing").encode("utf-8")


def _values(site: Site) -> Values:
    """The families one can choose, and where their variants are for those without scripts."""
    return {"families": [site.link("family", ident) | {"id": ident} for ident in site.families]}


def _data(site: Site) -> bytes:
    """See the type ListingData at the head of `modules/listing/page.js`."""
    # Here, since the reading of texts takes long to load, and nothing else on the site leans on it.
    from ..identify.vocabulary import vocabulary
    from .packed_listing import packed, packed_records

    site.memo.note((FILE, "sellers.yaml"))
    entries = site.bare.names()
    data: Values = {"vocabulary": packed(vocabulary(entries, site.bare.words())), "records": packed_records(entries)}
    return assigned("var tellmarkListingData", data)
