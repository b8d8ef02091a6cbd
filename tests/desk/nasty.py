"""What nobody means to send: texts, numbers, bodies, files, cookies and paths, drawn at random from a seed."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from functools import cache
from html.parser import HTMLParser
from random import Random
from urllib.parse import quote_from_bytes

Pairs = list[tuple[str, str]]
MARK = "<fuzz-mark onclick=a>"
"""No page may ever hold it as it stands: it would be markup that somebody typed."""
SUM = 1337 * 1337
"""What a template would work out of what was typed into it."""
TEXTS: tuple[str, ...] = (
    "", " ", "\t\r\n", "\x00", "a\x00b", "\x01\x02\x1b[31m", "\x7f\x85\u2028\u2029", "\ufeff\ufffe\uffff",
    "\ud800", "\udfff\ud800", "a\udc80", "\u202e0.6\u202c", "\u2066\u2067\u061c\u200f", "\u200b\u200d\u00ad",
    MARK, f"'\"><script>{MARK}</script>", f"</textarea>{MARK}", f"</title>{MARK}", f"]]>{MARK}<!--",
    "&lt;&#0;&#x110000;",
    "{{1337*1337}}", "{%print(1337*1337)%}", "${1337*1337}", "#{1337*1337}", "{0.__class__}", "%s%n%(x)s",
    "' OR '1'='1", '"; DROP TABLE ledger; --', "1) UNION SELECT content FROM ledger--", "\\", "%_", "$$",
    "../../../../etc/passwd", "..%2f..%2f", "%2e%2e/", "/etc/passwd\x00.csv", "C:\\windows", "file:///etc/passwd",
    "javascript:alert(1)", "//elsewhere.invented/", "\\\\elsewhere", "/\\elsewhere", "/\x09/elsewhere",
    "\r\nset-cookie: a=b",
    "yes", "no", "unknown", "true", "null", "None", "[]", "{}", '{"a":1}', "on", "undefined", "NaN", "inf", "-Infinity",
    "é" * 300, "a" * 3999, "a" * 4000, "\u0301" * 4000, "😀" * 2000, "𝟙", "क्ष", "১২৩", "शान्ति", "z" + "\u0300" * 50,
)  # fmt: skip
NUMBERS: tuple[str, ...] = (
    "0", "-0", "-1", "1", "2", "-2147483649", "9223372036854775807", "9223372036854775808", "1e999", "1e-999",
    "0x10", "1_000", "1,5", "1.5.5", ".5", "5.", "+5", "--5", "٣", "১২", "९.५", "²", "½", "1" * 15, "1" * 16, "9" * 400,
    "00000000000", " 7 ", "7\x00", "−7", "1 2", "1e5", "999999999.999999999",
)  # fmt: skip
DATES: tuple[str, ...] = (
    "0000-00-00", "2027-02-30", "9999-12-31", "0001-01-01", "10000-01-01", "2027-02-24", "24.2.2027", "31-02-2027",
    "1/1/1", "2027-W08-3", "2027-02-24T25:61", "2027-02-24T10:00", "9999-12-31T23:59", "0001-01-01T00:00",
    "2027-02-24T10:00+99:99", "2027-02-24T10:00Z", "24:00", "10:00:60", "-1:-1", "10.30", "२०२७-०२-२४",
)  # fmt: skip
ROWS = ("0", "1", "-1", "00", "999", "1000", "99999999999", "a", "", "0.0", "1e1", "१", "\x00")
TYPES: tuple[str, ...] = (
    "application/json", "text/plain", "", "application/x-www-form-urlencoded; charset=utf-7", "multipart/form-data",
    "multipart/form-data; boundary=", 'multipart/form-data; boundary="', "application/msgpack", "text/xml", "a/b; c",
    "multipart/form-data; boundary=" + "b" * 300, "application/x-www-form-urlencoded, text/plain", "é",
)  # fmt: skip


URL_ENCODED = "application/x-www-form-urlencoded"


def any_text(random: Random) -> str:
    """Something that no question asks for."""
    return random.choice(random.choice((TEXTS, TEXTS, NUMBERS, DATES)))


def altered(random: Random, pairs: Pairs) -> Pairs:
    """``pairs`` as a form would send them, with one to four things wrong."""
    for _ in range(random.randint(1, 4)):
        pairs = random.choice(_WAYS)(random, list(pairs))
    return pairs


def chosen(random: Random, pairs: Pairs) -> Pairs:
    """One thing for each name that ``pairs`` could send, often a likely one."""
    names: dict[str, list[str]] = {}
    for name, value in pairs:
        names.setdefault(name, []).append(value)
    made = []
    for name, values in names.items():
        value = random.choice(values) if random.random() < 0.8 else any_text(random)
        made += (
            [(name, one) for one in values] if name == "asked" else [(name, value or random.choice(("a", "yes", "1")))]
        )
    return made


def _value(random: Random, pairs: Pairs) -> Pairs:
    if pairs:
        place = random.randrange(len(pairs))
        pairs[place] = (pairs[place][0], any_text(random))
    return pairs


def _missing(random: Random, pairs: Pairs) -> Pairs:
    if pairs:
        del pairs[random.randrange(len(pairs))]
    return pairs


def _twice(random: Random, pairs: Pairs) -> Pairs:
    if pairs:
        name, value = random.choice(pairs)
        pairs.insert(random.randrange(len(pairs)), (name, random.choice((value, any_text(random)))))
    return pairs


def _row(random: Random, pairs: Pairs) -> Pairs:
    """A row of a list where there is none: ``name.7.part``."""
    if pairs:
        parts = random.choice(pairs)[0].split(".")
        last = random.choice((parts[-1], "remove", "", "name", "at"))
        pairs.append((".".join([*parts[:-1], random.choice(ROWS), last]), any_text(random)))
    return pairs


def _seen(random: Random, pairs: Pairs) -> Pairs:
    name = random.choice(("seen", "entry", "since", "version", "shown", "asked", "go", "do"))
    kept = [(key, value) for key, value in pairs if key != name]
    return [*kept, (name, random.choice((*NUMBERS, "12", "20", "40")))]


def _unknown(random: Random, pairs: Pairs) -> Pairs:
    name = random.choice(("patient", "patient.", ".", "__class__", "schema", "version", "invented", any_text(random)))
    return [*pairs, (name, any_text(random)), ("asked", name)]


def _many(random: Random, pairs: Pairs) -> Pairs:
    return [*pairs, *[(any_text(random), "a")] * random.choice((50, 599, 700))]


_WAYS: tuple[Callable[[Random, Pairs], Pairs], ...] = (
    *(_value,) * 8, *(_missing,) * 3, *(_twice,) * 2, *(_row,) * 3, *(_seen,) * 3, _unknown, _many,
)  # fmt: skip


def url_encoded(pairs: Pairs) -> bytes:
    """As a browser sends a form; half surrogates as no browser would, byte by byte."""
    return b"&".join(f"{_quoted(name)}={_quoted(value)}".encode() for name, value in pairs)


def _quoted(text: str) -> str:
    return quote_from_bytes(text.encode(errors="surrogatepass"), safe=".")


def multipart(random: Random, pairs: Pairs, files: list[tuple[str, str, bytes]]) -> tuple[bytes, str]:
    """A body of many parts, one in three of them broken, and its content type."""
    lines = [
        f'--edge\r\ncontent-disposition: form-data; name="{_header(name)}"\r\n\r\n'.encode() + _bytes(value) + b"\r\n"
        for name, value in pairs
    ]
    lines += [
        f'--edge\r\ncontent-disposition: form-data; name="{_header(name)}"; filename="{_header(file)}"\r\n'.encode()
        + b"content-type: text/csv\r\n\r\n" + content + b"\r\n"
        for name, file, content in files
    ]  # fmt: skip
    body = b"".join(lines) + b"--edge--\r\n"
    if random.random() < 1 / 3:
        body = random.choice(_BREAKS)(random, body)
    return body, "multipart/form-data; boundary=edge"


def _header(text: str) -> str:
    return text.encode(errors="replace").decode().translate({ord(sign): "_" for sign in '"\r\n\0'})


def _bytes(text: str) -> bytes:
    return text.encode(errors="surrogatepass")


_BREAKS: tuple[Callable[[Random, bytes], bytes], ...] = (
    lambda random, body: body[: random.randrange(len(body))],
    lambda _, body: body.replace(b"\r\n", b"\n"),
    lambda _, body: body.replace(b"form-data", b"attachment", 1),
    lambda _, body: body.replace(b"\r\n\r\n", b"\r\ncontent-type: text/plain; charset=nonsense\r\n\r\n", 1),
    lambda _, body: body.replace(b"\r\n\r\n", b"\r\ncontent-type: text/plain; charset=utf-16\r\n\r\n", 1),
    lambda _, body: body.replace(b"\r\n\r\n", b"\r\n\r\n\xff\xfe\x80", 1),
    lambda _, body: body.replace(b'name="', b'x="', 1),
    lambda _, body: body.replace(b"--edge", b"--egde"),
    lambda _, body: body * 2,
    lambda _, body: b"",
)  # fmt: skip


@cache
def files() -> tuple[tuple[str, bytes], ...]:
    """Files that are not what their names say, by name."""
    return (
        ("cases.csv", b""), ("cases.csv", b"\x00" * 1000), ("cases.csv", b"date,side\n\xff\xfe,\n"),
        ("cases.csv", b'"' * 999), ("cases.csv", b"a,b\n" * 20_000),
        ("cases.csv", MARK.encode() + b",{{1337*1337}}\n1,2"),
        ("cases.csv", b"a" * 5_100_000), ("cases.csv", b"," * 200_000), ("cases.csv", b"\xef\xbb\xbf\r\r\r"),
        ("cases.xlsx", b""), ("cases.xlsx", b"PK\x03\x04"), ("cases.xlsx", _zip("a", b"b")), ("cases.xlsx", _bomb()),
        ("cases.xlsx", _workbook(b"<a>" * 1000)), ("cases.xlsx", _workbook(_ENTITIES)), ("cases.ods", _bomb()),
        ("cases.ods", b"%PDF-1.7"), ("cases.exe", b"MZ"), ("", b"a"), ("../../cases.csv", b"a,b\n1,2\n"),
        ("cases.csv\x00.exe", b"a"), (f"{MARK}.csv", b"a,b\n1,2\n"), ("a" * 500 + ".csv", b"a,b\n1,2\n"),
    )  # fmt: skip


_ENTITIES = (
    b'<!DOCTYPE a [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;">'
    b'<!ENTITY f SYSTEM "file:///etc/passwd">]><worksheet><sheetData><row><c t="str"><v>&c;&f;</v></c></row>'
    b"</sheetData></worksheet>"
)


def _zip(name: str, content: bytes) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as file:
        file.writestr(name, content)
    return made.getvalue()


def _workbook(sheet: bytes) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as file:
        file.writestr("xl/workbook.xml", '<workbook xmlns:r="r"><sheets><sheet name="a" r:id="1"/></sheets></workbook>')
        file.writestr(
            "xl/_rels/workbook.xml.rels",
            '<Relationships><Relationship Id="1" Type="worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
        )
        file.writestr("xl/worksheets/sheet1.xml", sheet)
    return made.getvalue()


def _bomb() -> bytes:
    """Four hundred kilobytes that become four hundred megabytes."""
    row = b'<row><c t="str"><v>' + b"a" * 980 + b"</v></c></row>"
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as file:
        for name in ("xl/worksheets/sheet1.xml", "content.xml"):
            with file.open(name, "w", force_zip64=True) as part:
                for _ in range(200):
                    part.write(row * 1000)
    return made.getvalue()


COOKIES: tuple[bytes, ...] = (
    b"consent-session=", b"consent-session=a", b"consent-session=%00", b"consent-session=" + b"a" * 8000, b"=;=;;",
    b"consent-session=\xff\xfe", b'consent-session="\\303\\050"', b"consent-language=../../en", b"consent-language=xx",
    b"consent-language=\xe0\xa4\x95", b"consent-form=" + b"a" * 200, b"consent-form=" + b"\xe9" * 200,
    b"consent-form=%ff",
    b"consent-form=" + b"%E0%A4%95" * 200, b"a" * 4000, b"consent-session=a; consent-session=b", b"consent-form",
)  # fmt: skip
QUERIES: tuple[str, ...] = (
    "since=-1", "since=99999999999999999999", "since=a", "since=", "mine=1.5", "since=1&since=2", "tag=%ED%A0%80",
    "tag=xx",
    "tag=%3Cfuzz-mark%20onclick=a%3E", "until=-5", "until=9223372036854775808", "until=1e3", "version=0x1",
    "version=-1",
    "add=%00", "add=%7B%7B1337*1337%7D%7D", "add=../x", "%", "%%%", "&&&", "=", "a" * 4000, "here=1&form=2&request=3",
    "name=a&subject=b", "until=%D9%A3", "since=%20", "large=yes&days=-1", "eye=left&day=999999", "tag[]=a", ";;;",
)  # fmt: skip
PLACES: tuple[str, ...] = (
    "case-0000000000000000", "case-", "accounts", "clock", "%2e%2e", "%2e%2e%2f%2e%2e", "..%2f..%2fetc%2fpasswd", "%00",
    "a%00b", "%ED%A0%80", "%ff", "%3Cfuzz-mark%20onclick=a%3E", "%7B%7B1337*1337%7D%7D", "'%20OR%20'1'='1", "%25",
    "%E2%80%AE", "a" * 3000, "-1", "99999999999999999999", "%D9%A3", "1.5", "0", "%20", ".", "%5c", "language",
    "%0d%0aa:b",
)  # fmt: skip


class _Forms(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str, Pairs]] = []
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.found.append((said.get("method", "get"), said.get("action", ""), []))
            return
        name = said.get("name", "")
        if tag == "select":
            self._select = name
        elif tag == "option" and self._select and self.found:
            self.found[-1][2].append((self._select, said.get("value", "")))
        elif tag in ("input", "textarea", "button") and name and name != "_csrf_token" and self.found:
            self.found[-1][2].append((name, said.get("value", "")))

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = ""


def forms_of(page: str) -> list[tuple[str, Pairs]]:
    """Where each form of ``page`` is posted to, and everything that it could send."""
    reader = _Forms()
    reader.feed(page)
    return [(action, pairs) for method, action, pairs in reader.found if method.lower() == "post"]
