"""Texts as people save them: encodings, pages, and what is no text."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tellmark.kb.findings import BadInput
from tellmark.kb.plain_text import MOST_BYTES, plain_text, tidy

READ = [
    ("utf-8", "Größe 4½ mm".encode(), "Größe 4½ mm"),
    ("utf-8 with a mark", b"\xef\xbb\xbf424", "424"),
    ("utf-16 with a mark", "424 – fine".encode("utf-16"), "424 – fine"),
    ("the western code page", b"it\x92s 424", "it\u2019s 424"),
    ("what a page says it is", '<html><meta charset="iso-8859-2"><p>Dvo\u0159ák'.encode("iso-8859-2"), "Dvo\u0159ák"),
    ("lines of other systems", b"one\r\ntwo\rthree", "one\ntwo\nthree"),
    ("blanks", b"  a \t b\n\n\n\n c ", "a b\n\nc"),
    (
        "a control character",
        b"a\x07b and much else that is only text, so that it is one slip",
        "a b and much else that is only text, so that it is one slip",
    ),
    ("paragraphs", b"<html><body><p>one</p><p>two<br>three</p></body></html>", "one\n\ntwo\nthree"),
    ("markup inside a word", b"<p>Prai<b>rie</b> Meri<i>dian</i></p>", "Prairie Meridian"),
    ("characters by name and number", b"<p>A &amp; B &#39;s &euro;5</p>", "A & B 's \u20ac5"),
    ("scripts and styles", b"<p>a</p><script>if (a < b) x('<p>no</p>')</script><style>p{}</style><p>b</p>", "a\n\nb"),
    ("the head", b"<html><head><title>no</title><link rel=x></head><body>yes</body></html>", "yes"),
    ("a head that is never closed", b"<html><head><meta name=x><body>yes", "yes"),
    ("what is hidden", b"<body><div hidden>no<div>no</div></div><div>yes</div></body>", "yes"),
    ("line ends of the source", b"<body>one\ntwo</body>", "one two"),
    ("table cells", b"<table><tr><td>Price</td><td>$5</td></tr></table>", "Price\n\n$5"),
    ("a comment", b"<body>a<!-- no -->b</body>", "ab"),
    ("less than, in plain text", b"4 < 5 and 6 > 5", "4 < 5 and 6 > 5"),
]


@pytest.mark.parametrize(("data", "text"), [case[1:] for case in READ], ids=[case[0] for case in READ])
def test_text_is_what_one_reads(data: bytes, text: str) -> None:
    assert plain_text(data, "page") == text


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"", "no text"),
        (b"\n \t", "no text"),
        (b"<html><script>x()</script></html>", "no text"),
        (b"\x00\x01\x02", "a binary file"),
        (bytes(range(1, 32)) * 40, "a binary file"),
        (b"x" * 60_001, "a text of 60,001 characters"),
        (b"x" * (MOST_BYTES + 1), "a file over 8 MiB"),
    ],
    ids=["empty", "blank", "only a script", "zero bytes", "control characters", "too long", "too large"],
)
def test_what_is_no_text_is_refused(data: bytes, found: str) -> None:
    with pytest.raises(BadInput) as refused:
        plain_text(data, "page")
    (finding,) = refused.value.findings
    assert (finding.path, finding.found) == ("page", found)


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    try:
        text = plain_text(data, "page")
    except BadInput:
        return
    assert text
    assert text == tidy(text)
