"""Checks of the drops a patient has long used: each has a decision, a pause has an end, none is lost."""

from __future__ import annotations

from collections.abc import Iterator

from consent.case import OwnDrop
from consent.drops.grounds import mentions
from consent.drops.subject import Check, Hit, Subject


def _fact(subject: Subject, own: OwnDrop) -> str:
    eyes = "each eye" if own.eyes == "each" else f"{own.eyes} eye"
    return f"uses: {' + '.join(subject.generics(own))}, {eyes}"


def undecided(subject: Subject) -> Iterator[Hit]:
    """Nobody has said whether it goes on."""
    for own in subject.case.own_drops:
        if own.decision == "undecided":
            yield Hit("stop", (_fact(subject, own),))


def missing(subject: Subject) -> Iterator[Hit]:
    """A glaucoma drop of the operated eye that neither a row nor a decision covers."""
    for text in subject.eye.glaucoma_drops:
        if not _covered(text, _spoken_for(subject), subject.glaucoma_words):
            yield Hit("ask", (f"uses: {text}",))


def _spoken_for(subject: Subject) -> list[str]:
    """Generic names that have a row in the operated eye, or a decision for it."""
    side = subject.eye.side
    on_calendar = [
        part.generic.lower() for row in subject.plan.rows if row.side is side for part in row.drug.components
    ]
    decided = [name for own in subject.case.own_drops if side in own.sides for name in subject.generics(own)]
    return [*on_calendar, *decided]


def _covered(text: str, generics: list[str], glaucoma_words: tuple[str, ...]) -> bool:
    """Whether every glaucoma drug that ``text`` names is among ``generics``; one of them, where it names none known."""
    known = [word for word in glaucoma_words if mentions(text, (word,))]
    if not known:
        return any(generic in text.lower() for generic in generics)
    return all(any(word in generic for generic in generics) for word in known)


def stopped(subject: Subject) -> Iterator[Hit]:
    """The pressure may rise again."""
    for own in subject.case.own_drops:
        if own.decision == "stop" and subject.lowers_pressure(own):
            by = f"decided by: {own.decided_by}" if own.decided_by else "decided by: not recorded"
            yield Hit("note", (_fact(subject, own), by))


def pause_without_visit(subject: Subject) -> Iterator[Hit]:
    """A pause ends on a day when somebody sees the patient."""
    visits = {visit.date for visit in subject.case.visits}
    for own in subject.case.own_drops:
        if own.pause_until is not None and own.pause_until not in visits:
            yield Hit("ask", (_fact(subject, own), f"paused until {own.pause_until}: no visit on that day"))


OWN_DROP_CHECKS: dict[str, Check] = {
    "own-drop-undecided": undecided,
    "own-glaucoma-drop-missing": missing,
    "own-drop-stopped": stopped,
    "pause-without-visit": pause_without_visit,
}
