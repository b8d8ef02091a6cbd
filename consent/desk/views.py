"""The templates of the pages: sandboxed, autoescaping, a missing value is an error."""

from __future__ import annotations

import hashlib
from functools import cache
from typing import TYPE_CHECKING

from jinja2 import pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from consent.case import Side
from consent.compose.pictures import eye_side
from consent.desk.incoming import ME
from consent.desk.ordered import course, regimen_now
from consent.desk.returned import returned
from consent.desk.settling import settled_at
from consent.desk.told import told
from consent.desk.told_since import tell_new
from consent.desk.words import interface_languages
from consent.language import Quoted, direction
from consent.record.moves import Role
from consent.resources import templates

if TYPE_CHECKING:
    from jinja2 import Environment

    from consent.desk.here import Visitor


@cache
def environment() -> Environment:
    """Jinja2 over templates/desk, with the blocks of the sheets beside them."""
    from jinja2 import FileSystemLoader, StrictUndefined
    from jinja2.sandbox import SandboxedEnvironment

    from consent.print.described import described

    made = SandboxedEnvironment(
        loader=FileSystemLoader([templates() / "desk", templates()]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.filters["alt"] = described
    made.globals |= {
        "asset": asset,
        "eye_svg": eye_svg,
        "settled_at": settled_at,
        "nav": nav,
        "languages": _own_names,
        "quoted": Quoted,
        "direction": direction,
        "told": told,
        "course": course,
        "regimen_now": regimen_now,
        "returned": returned,
        "tell_new": tell_new,
        "marks": marks,
    }
    for name in sorted(path.name for path in (templates() / "desk").glob("*.html")):
        made.get_template(name)  # read now: a service goes on with what it began with while the program is renewed
    return made


@pass_context
def marks(context: Context) -> Markup:
    """What every form carries unseen: its token, and whose page it is."""
    here: Visitor = context["here"]
    found = Markup(context["csrf_input"])  # noqa: S704  the framework's own
    if here.account is not None:
        found += Markup('<input type="hidden" name="{}" value="{}">').format(ME, here.account.id)
    return found


@cache
def eye_svg(side: Side) -> Markup:
    """The eye drawn as staff see it, from in front of the patient."""
    return Markup(eye_side(side, from_in_front=True))  # noqa: S704  our own drawing


def nav(here: Visitor) -> list[tuple[str, str]]:
    """The places of whoever asks: path, and the message that names it."""
    return [(path, words) for path, words, roles in _PLACES if here.is_a(*roles)]


_PLACES: tuple[tuple[str, str, tuple[Role, ...]], ...] = (
    ("/cases", "nav.cases", (Role.COUNSELLOR, Role.SURGEON, Role.LEAD)),
    ("/surgeon", "nav.surgeon", (Role.SURGEON,)),
    ("/theatre", "nav.theatre", (Role.THEATRE, Role.SURGEON)),
    ("/lead", "nav.lead", (Role.LEAD,)),
    ("/ledger", "nav.ledger", (Role.LEAD, Role.AUDITOR)),
)


@cache
def _own_names() -> list[tuple[str, str]]:
    """Each language of the pages with its own name for itself."""
    from babel import Locale

    return [(tag, str(Locale.parse(tag).get_display_name(tag))) for tag in interface_languages()]


@cache
def asset(name: str) -> str:
    """Where the browser finds our own file ``name``; the address changes with its content."""
    content = (templates() / "desk" / "static" / name).read_bytes()
    return f"/static/{name}?{hashlib.sha256(content).hexdigest()[:10]}"
