"""Checks of the drops a patient has long used: each has a decision, a pause has an end, none is lost."""

from __future__ import annotations

from collections.abc import Iterator

from consent.case import OwnDrop, Side
from consent.drops.grounds import mentions
from consent.drops.subject import Check, Hit, Subject
from consent.drops.theatre import named


def _fact(subject: Subject, own: OwnDrop) -> str:
    eyes = "each eye" if own.eyes == "each" else f"{own.eyes} eye"
    return f"uses: {' + '.join(subject.generics(own))}, {eyes}"


def undecided(subject: Subject) -> Iterator[Hit]:
    """Nobody has said whether it goes on."""
    for own in subject.case.own_drops:
        if own.decision == "undecided":
            yield Hit("stop", (_fact(subject, own),))


MISSING = "own-glaucoma-drop-missing"
_USES = "uses: "


def name_missing(facts: tuple[str, ...]) -> str:
    """Return the drop a finding ``MISSING`` is about, as it was entered."""
    return facts[0].removeprefix(_USES)


def missing(subject: Subject) -> Iterator[Hit]:
    """A drop among the eye's glaucoma drops or the patient's medicines that neither a row nor a decision covers."""
    own_eye = frozenset({subject.eye.side})
    texts = {text: _sides(subject, text) | own_eye for text in subject.eye.glaucoma_drops}
    for text in subject.health.medicines:
        if _is_eye_drop(subject, text):
            texts.setdefault(text, _sides(subject, text))
    for text, sides in texts.items():
        if not _covered_in(subject, text, sides):
            yield Hit("ask", (f"{_USES}{text}",))


def _is_eye_drop(subject: Subject, medicine: str) -> bool:
    """Whether ``medicine`` names a glaucoma drop or is called an eye drop, or a drop and not one for elsewhere."""
    words = subject.words
    if named(medicine, words.glaucoma_drop) or mentions(medicine, words.eye_drop):
        return True
    return mentions(medicine, words.drop) and not named(medicine, words.other_drop)


def _sides(subject: Subject, text: str) -> frozenset[Side]:
    """The eyes that ``text`` names; none where it does not say."""
    if mentions(text, subject.words.both_eyes):
        return frozenset(Side)
    return frozenset(side for side in Side if mentions(text, (side.value,)))


def _covered_in(subject: Subject, text: str, sides: frozenset[Side]) -> bool:
    """Whether ``text`` is covered in each of ``sides``; in either eye, where it names none."""
    covered = (_covered(text, _spoken_for(subject, side), subject.glaucoma_words) for side in sides or Side)
    return all(covered) if sides else any(covered)


def _spoken_for(subject: Subject, side: Side) -> list[str]:
    """Generic names that have a row in the eye on ``side``, or a decision for it."""
    rows = [row for row in subject.plan.rows if row.side is side]
    on_calendar = [subject.base_name(part) for row in rows for part in row.drug.components]
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
    MISSING: missing,
    "own-drop-stopped": stopped,
    "pause-without-visit": pause_without_visit,
}
