"""Signatures: the patient's own, thumb and witness where they are needed, the second stage."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import zip_longest

from consent.case import Answer, Case, DecisionBasis
from consent.compose.document import Block, Columns, Line, Para, Section, Signature, Spot
from consent.compose.form_plan import surgeon_named
from consent.compose.voice import Voice, joined
from consent.language import Tongue
from consent.review.assessment import Assessment
from consent.wording import remark


def needs_reader(case: Case) -> bool:
    """Whether the form is read aloud: the patient cannot read it, or cannot see the print."""
    patient = case.patient
    own = patient.decision.basis is DecisionBasis.SELF
    return own and (patient.reads is not Answer.YES or patient.sees_to_read is Answer.NO)


def needs_witness(case: Case) -> bool:
    """Whether somebody outside the team has to be there: form read aloud, a mark instead of a name, or a guardian."""
    own = case.patient.decision.basis is DecisionBasis.SELF
    return not own or needs_reader(case) or case.patient.writes_name is not Answer.YES


def labels(voice: Voice, *names: str) -> tuple[Line, ...]:
    """The labels beside lines to write on."""
    return tuple(voice.line(f"sign.{name}") for name in names)


def signatures(assessment: Assessment, voice: Voice) -> Section:
    """The signing section: patient (or who decides), reader and witness, interpreter, explainer, surgeon."""
    case = assessment.case
    eye = remark(f"eye.{case.eye.side}")
    own = case.patient.decision.basis is DecisionBasis.SELF
    rights, mind = voice.line("sign.rights"), voice.line("sign.change-mind")
    language = voice.line("sign.language", language=Tongue(case.patient.language))
    said = Para(
        joined([rights, mind, language], " "),
        spots=(
            Spot(rights, ("ST-10:rights",)),
            Spot(mind, ("ST-10:mind", "UK-18", "EU-05")),
            Spot(language, ("IN-12", "ST-01:language", "UK-15")),
        ),
    )
    signs = decider(case, voice, voice.line("sign.patient-means" if own else "sign.guardian-means", eye=eye))
    others = side_by_side([*beside_the_decider(case, voice, "form"), *_team(assessment, voice)])
    heading = voice.line("form.signatures.heading")
    return Section("signatures", heading, (said, signs, *others, _second_stage(voice)))


def side_by_side(signers: list[Block]) -> Iterator[Columns]:
    """Signatures of everybody but whoever decides, two to a line."""
    for one, two in zip_longest(signers[::2], signers[1::2]):
        yield Columns((one,), () if two is None else (two,), style="signers")


def _second_stage(voice: Voice) -> Signature:
    """The second stage on the paper that was signed; what is looked at for it stands on a sheet of its own."""
    meaning = voice.line("sign.second-stage-means")
    return Signature(
        role=voice.line("sign.second-stage"),
        meaning=meaning,
        labels=labels(voice, "signature", "confirmed-by", "date", "time"),
        spots=(Spot(meaning, ("ST-02:confirmed", "UK-17")),),
    )


def beside_the_decider(case: Case, voice: Voice, read: str = "paper") -> list[Block]:
    """Reader, witness and interpreter, each where this patient needs one. ``read``: "form" for form and risk sheet."""
    blocks: list[Block] = []
    if needs_reader(case):
        blocks.append(_reader(case, voice, read))
    if needs_witness(case):
        blocks.append(_witness(case, voice))
    if case.patient.interpreter is not None:
        blocks.append(_interpreter(case, voice))
    return blocks


def decider(case: Case, voice: Voice, meaning: Line, names_eye: bool = True) -> Signature:
    """The block of whoever decides: the competent adult patient and nobody else, or the named guardian.

    ``names_eye``: the meaning of the signature names the eye, so that it answers for the side.
    """
    decision = case.patient.decision
    own = decision.basis is DecisionBasis.SELF
    thumb = voice.line("sign.thumb") if own and case.patient.writes_name is not Answer.YES else None
    name = case.patient.name if own else decision.name
    names = ("signature", "date", "time") if own else ("signature", "relation", "basis", "opinion", "date", "time")
    lines = dict(zip(names, labels(voice, *names), strict=True))
    spots = [
        Spot(lines["signature"], ("US-05",)),
        Spot(lines["date"], ("US-06:date",)),
        Spot(lines["time"], ("US-06:time",)),
        *([Spot(meaning, ("SM-01", "SM-02:signature"))] if names_eye else []),
    ]
    said = voice.quoted(name) if name else None
    if own:
        spots.append(Spot(meaning, ("IN-09",)))
    else:
        spots += [Spot(lines["basis"], ("IN-11:basis",)), Spot(lines["relation"], ("IN-11:relation",))]
        spots.append(Spot(lines["opinion"], ("EU-06:own opinion",)))
        spots += [Spot(said, ("IN-11:who", "EU-06:representative"))] if said else []
    if thumb is not None and said is not None:
        spots += [Spot(thumb, ("IN-14:mark", "IN-14:hand")), Spot(said, ("IN-14:name",))]
        spots += [Spot(lines["date"], ("IN-14:date",)), Spot(lines["time"], ("IN-14:time",))]
    return Signature(
        role=voice.line("sign.patient" if own else "sign.guardian"),
        meaning=meaning,
        labels=tuple(lines.values()),
        filled=_filled(voice, {"relation": decision.relation, "basis": decision.reason}, names),
        name=said,
        thumb=thumb,
        elements=("IN-08",),
        spots=tuple(spots),
    )


def _filled(voice: Voice, known: dict[str, str | None], names: tuple[str, ...]) -> tuple[Line | None, ...]:
    """What stands on a line already, label by label."""
    return tuple(voice.quoted(text) if (text := known.get(name)) else None for name in names)


def _reader(case: Case, voice: Voice, read: str) -> Signature:
    """The statement of whoever read this paper aloud."""
    means = "sign.reader-means" if read == "form" else "sign.reader-means-paper"
    unseen = case.patient.reads is Answer.YES
    return Signature(
        role=voice.line("sign.reader"),
        meaning=voice.line(
            f"{means}-unseen" if unseen else means,
            language=Tongue(case.patient.language),
        ),
        labels=labels(voice, "name", "signature", "date", "time"),
        elements=("IN-13", "UN-05"),
    )


def _witness(case: Case, voice: Voice) -> Signature:
    """The block of a witness who is not of the treating team and was there throughout."""
    own = case.patient.decision.basis is DecisionBasis.SELF
    role = voice.line("sign.witness")
    name = voice.quoted(case.talk.witness) if case.talk.witness else None
    relation, address, signature, date, time = labels(voice, "relation", "address", "signature", "date", "time")
    return Signature(
        role=role,
        meaning=voice.line("sign.witness-means" if own else "sign.witness-means-guardian"),
        labels=(relation, address, signature, date, time),
        name=name,
        spots=(
            Spot(name or voice.line("sign.name"), ("IN-15:name",)),
            Spot(relation, ("IN-15:relation",)),
            Spot(address, ("IN-15:address",)),
            Spot(signature, ("IN-15:signature", "US-08")),
        ),
    )


def _interpreter(case: Case, voice: Voice) -> Signature:
    """The interpreter's own declaration."""
    person = case.patient.interpreter
    name = voice.quoted(person.name) if person else None
    names = ("qualification", "languages", "mode", "signature", "date", "time")
    lines = dict(zip(names, labels(voice, *names), strict=True))
    return Signature(
        role=voice.line("sign.interpreter"),
        meaning=voice.line("sign.interpreter-means"),
        labels=tuple(lines.values()),
        filled=_filled(voice, {"qualification": person.qualification if person else None}, names),
        name=name,
        spots=(
            *((Spot(name, ("ST-06:name",)),) if name else ()),
            Spot(lines["languages"], ("ST-06:language",)),
            Spot(lines["mode"], ("ST-06:mode",)),
            Spot(lines["signature"], ("ST-06:signature",)),
        ),
    )


def _team(assessment: Assessment, voice: Voice) -> list[Block]:
    case = assessment.case
    role, signature, date, time = labels(voice, "role", "signature", "date", "time")
    delegate = case.talk.by is not None and case.talk.by != case.plan.surgeon.name
    meaning = "sign.explainer-means-delegate" if delegate else "sign.explainer-means"
    explains = voice.line(meaning)
    return [
        Signature(
            role=voice.line("sign.explainer"),
            meaning=explains,
            labels=(role, signature, date, time),
            filled=(voice.quoted(case.talk.role) if case.talk.role else None, None, None, None),
            name=voice.quoted(case.talk.by) if case.talk.by else None,
            spots=(
                Spot(explains, ("ST-01:who", "ST-07:explains", "ST-07:delegate", "UK-16:talk")),
                Spot(role, ("ST-01:role",)),
                Spot(date, ("ST-01:when",)),
            ),
        ),
        Signature(
            role=voice.line("sign.surgeon"),
            meaning=voice.line("sign.surgeon-means"),
            labels=(signature, date, time),
            name=voice.quoted(surgeon_named(assessment)),
            elements=("IN-16", "ST-07:operates", "US-03"),
        ),
    ]
