"""What may follow on what, and who may enter it, written down once more by hand, to hold the program's own table to."""

from __future__ import annotations

LIVING = {
    "draft", "explained", "sent back", "signed off", "consented", "confirmed", "wants time", "declined", "withdrawn",
    "done", "closed",
}  # fmt: skip
BEFORE_SIGNING = {"draft", "explained", "sent back", "wants time"}
ANYONE = {"counsellor", "surgeon", "theatre", "lead"}

EXPECTED: dict[str, tuple[set[str], str | None, set[str]]] = {
    # kind: from which states, to which (None: it stays), by whom
    "changed": (
        BEFORE_SIGNING | {"signed off", "consented", "confirmed", "done"},
        None,
        {"counsellor", "surgeon", "lead"},
    ),
    "explained": (BEFORE_SIGNING, "explained", {"counsellor", "surgeon"}),
    "said-back": (BEFORE_SIGNING, None, {"counsellor", "surgeon"}),
    "asked": (BEFORE_SIGNING, None, {"counsellor", "surgeon"}),
    "answered": (BEFORE_SIGNING | {"done"}, None, {"surgeon"}),
    "figures-accepted": (BEFORE_SIGNING, None, {"surgeon"}),
    "sent-back": ({"explained", "signed off"}, "sent back", {"surgeon"}),
    "signed-off": ({"explained"}, "signed off", {"surgeon"}),
    "consented": ({"signed off"}, "consented", {"counsellor", "surgeon"}),
    "declined": (BEFORE_SIGNING | {"signed off"}, "declined", {"counsellor", "surgeon"}),
    "wants-time": ({"draft", "explained", "sent back", "signed off"}, "wants time", {"counsellor", "surgeon"}),
    "withdrawn": ({"consented", "confirmed"}, "withdrawn", {"counsellor", "surgeon", "theatre"}),
    "voided": ({"signed off", "consented", "confirmed"}, "draft", {"surgeon"}),
    "reopened": ({"declined", "withdrawn"}, "draft", {"counsellor", "surgeon"}),
    "confirmed": ({"consented"}, "confirmed", {"surgeon", "theatre"}),
    "not-confirmed": ({"consented", "confirmed"}, "draft", {"surgeon", "theatre"}),
    "done": ({"confirmed"}, "done", {"surgeon"}),
    "done-out-of-order": (
        LIVING - {"confirmed", "done", "closed"},
        "done",
        {"surgeon"},
    ),
    "first-day": ({"done"}, None, {"surgeon"}),
    "drops-changed": ({"done"}, None, {"surgeon"}),
    "aftercare-issued": ({"done"}, None, {"surgeon"}),
    "closed": ({"done", "declined", "withdrawn"}, "closed", {"surgeon", "lead"}),
    "noted": (LIVING, None, ANYONE),
    "looked-at": (LIVING, None, ANYONE | {"auditor"}),
    "reprinted": (LIVING, None, ANYONE),
    "exported": (LIVING, None, {"lead"}),
    "erased": ({"closed"}, None, {"lead"}),
}
PASSWORD = {"signed-off", "aftercare-issued", "done-out-of-order", "erased"}
QUIET = {"noted", "looked-at", "reprinted", "exported"}
ALWAYS_VOIDS = {"sent-back", "declined", "wants-time", "withdrawn", "voided", "not-confirmed", "drops-changed"}
