"""Elements of XML as they pass: guards of the parser itself, and what is kept of them."""

from __future__ import annotations

import pytest

from sameloop.errors import RideFileError
from sameloop.ingest.xml_points import xml_elements


def _seen(text, *names):
    return [(event, element.tag) for event, element in xml_elements(text, names, file="a")]


def test_only_named_elements_pass_in_order():
    assert _seen('<a><b><c/></b><x:c xmlns:x="u"/></a>', "b", "{*}c") == [
        ("start", "b"),
        ("start", "c"),
        ("end", "c"),
        ("end", "b"),
        ("start", "{u}c"),
        ("end", "{u}c"),
    ]


def test_what_has_passed_is_emptied():
    text = f"<a>{'<b><c>1</c></b>' * 3}</a>"
    ends = [element for event, element in xml_elements(text, ["b"], file="a") if event == "end"]
    assert [len(element) for element in ends] == [0, 0, 0]


def test_comments_and_instructions_do_not_split_text():
    elements = xml_elements("<a>1<!-- x -->2<?y z?>3</a>", ["a"], file="a")
    assert [element.text for event, element in elements if event == "end"] == ["123"]


# `xml_text` refuses every document type before; these are the parser's own guards behind it.
SWELLING = "".join(
    f'<!ENTITY e{level} "{f"&e{level - 1};" * 10 if level else "ha" * 10}">' for level in range(9)
)


@pytest.mark.parametrize(
    "declared",
    [
        f"[{SWELLING}]",
        '[<!ENTITY e8 SYSTEM "{file}">]',
        '[<!ENTITY % p SYSTEM "{file}"> %p;]',
        'SYSTEM "{file}"',
        'SYSTEM "http://localhost:9/x.dtd"',
    ],
)
def test_the_parser_follows_no_entity(declared, tmp_path):
    outside = tmp_path / "x.dtd"
    outside.write_text('<!ENTITY e8 "from outside">', encoding="utf-8")
    text = f"<!DOCTYPE a {declared.replace('{file}', outside.as_uri())}><a>&e8;</a>"
    with pytest.raises(RideFileError, match=r"^a: line 1, column \d+ is not well-formed XML; "):
        _seen(text, "a")


@pytest.mark.parametrize(
    "text",
    ["<a>" * 300 + "</a>" * 300, f"<a>{'x' * 11_000_000}</a>", f'<a b="{"x" * 11_000_000}"/>'],
)
def test_too_deep_or_too_long_is_refused(text):
    with pytest.raises(RideFileError, match=r"^a: line 1, column"):
        _seen(text, "a")
