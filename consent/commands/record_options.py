"""What ``consent record`` can be told."""

from __future__ import annotations

import argparse


def add(verb: argparse.ArgumentParser) -> None:
    """Give ``verb`` its acts."""
    acts = verb.add_subparsers(dest="act", metavar="ACT", required=True)
    _act(acts, "init", "Makes a new, empty record with its key and a local certificate.")
    _json(_act(acts, "list", "Lists every case with the state it is in."))
    opened = _act(acts, "open", "Opens a case in the record and prints the name it has there.", signs=True)
    opened.add_argument("case", metavar="CASE", help="case file, TOML or JSON")
    _entering(_act(acts, "enter", "Records one step of a case: explained, signed-off, consented, done ...", signs=True))
    points = _act(acts, "points", "Shows what stands in the way of a sign-off, with the key of each point to answer.")
    _subject(points)
    _json(points)
    _showing(_act(acts, "show", "Shows who said, saw and signed what in a case; --at shows an earlier state."))
    papers = _act(acts, "papers", "Hands out the signed papers of a case that hold.", signs=True)
    _subject(papers)
    papers.add_argument("--to", metavar="DIR", required=True, help="folder for the files")
    papers.add_argument("--reason", metavar="TEXT", required=True, help="why they are printed again, in a sentence")
    erase = _act(acts, "erase", "Destroys the key to a patient's identity; the chain stays whole.", signs=True)
    _subject(erase)
    erase.add_argument(
        "--reason", metavar="TEXT", required=True, help="why, without the patient's name: it is kept in the clear"
    )
    erase.add_argument("--everything", action="store_true", help="what was found and done as well")
    erase.add_argument("--before-retention", action="store_true", help="earlier; the reason names the legal ground")
    check = _act(acts, "check", "Holds every entry, key, paper and password against the chain.")
    check.add_argument("--noted", metavar="N:DIGEST", help="last entry of an earlier check, noted elsewhere")
    _json(check)
    _act(acts, "upgrade", "Carries an older record over to this version of the program. Make a backup first.")
    clock = _act(acts, "clock", "Says that the clock was put right, after entries made with a wrong one.", signs=True)
    clock.add_argument("--reason", metavar="TEXT", required=True, help="what had been wrong; it is kept in the clear")
    _certificate(_act(acts, "certificate", "Shows the clinic's certificate, hands it out, or signs with another."))


def _certificate(verb: argparse.ArgumentParser) -> None:
    verb.add_argument("--to", metavar="FILE.pem", help="write it, without its key, for whoever checks papers elsewhere")
    how = verb.add_mutually_exclusive_group()
    how.add_argument("--new", action="store_true", help="make a new local one; a clinic lead says so with --as")
    how.add_argument("--bring", metavar="FILE.p12", help="sign with the clinic's own (PKCS#12); likewise")
    _json(verb)
    _by(verb, needed=False)


def add_account(verb: argparse.ArgumentParser) -> None:
    """Give ``consent account`` its acts."""
    acts = verb.add_subparsers(dest="act", metavar="ACT", required=True)
    made = _act(acts, "add", "Makes an account; the first is made without --as, and is a clinic lead's.")
    _described(made, needed=True)
    _json(_act(acts, "list", "Lists every account."))
    _described(
        _act(acts, "change", "Changes name, roles or registration of an account, never one's own."), needed=False
    )
    for name, text in (
        ("close", "Closes an account; what it entered stays."),
        ("password", "Chooses a new password, your own or, as a clinic lead, a first one for somebody else."),
    ):
        other = _act(acts, name, text)
        other.add_argument("login", metavar="LOGIN", help="the account")
        _by(other, needed=name == "close")


def _described(verb: argparse.ArgumentParser, needed: bool) -> None:
    verb.add_argument("login", metavar="LOGIN", help="the account: small letters, digits, dots, hyphens")
    verb.add_argument("--name", metavar="NAME", required=needed, help="the name as it is to stand on paper")
    roles = "counsellor, surgeon, theatre, lead or auditor; may be repeated"
    verb.add_argument("--role", metavar="ROLE", action="append", default=[], required=needed, help=roles)
    verb.add_argument("--registration", metavar="NUMBER", help="registration as a clinician; a surgeon needs one")
    _by(verb, needed=not needed)


def _by(verb: argparse.ArgumentParser, needed: bool) -> None:
    verb.add_argument(
        "--as", dest="by", metavar="LOGIN", required=needed, help="who you are; the password is asked for"
    )


def _act(acts: argparse._SubParsersAction[argparse.ArgumentParser], name: str, text: str, signs: bool = False):  # type: ignore[no-untyped-def]
    made = acts.add_parser(name, help=text, description=text)
    where(made)
    if signs:
        made.add_argument(
            "--as", dest="login", metavar="LOGIN", required=True, help="who you are; the password is asked for"
        )
    return made


def where(verb: argparse.ArgumentParser) -> None:
    """Options that say which record of which clinic."""
    verb.add_argument("--record", metavar="WHERE", help="folder of the record, or a PostgreSQL address")
    verb.add_argument("--clinic", metavar="FILE", help="the clinic's settings file")


def _subject(verb: argparse.ArgumentParser) -> None:
    verb.add_argument("subject", metavar="CASE", help="name of the case in the record, such as case-0123456789abcdef")


def _json(verb: argparse.ArgumentParser) -> None:
    verb.add_argument("--json", action="store_true", help="print as JSON")


def _entering(verb: argparse.ArgumentParser) -> None:
    _subject(verb)
    verb.add_argument("kind", metavar="KIND", help="what happened, such as explained; a wrong one lists them all")
    verb.add_argument("--case", metavar="FILE", help="the case as it is now, where the step changes it")
    verb.add_argument("--reason", metavar="TEXT", help="why, in a sentence")
    verb.add_argument("--detail", metavar="NAME=VALUE", action="append", default=[], help="may be repeated")
    verb.add_argument("--seen", metavar="N", type=int, help="last entry you saw of the case; needed with --case")


def _showing(verb: argparse.ArgumentParser) -> None:
    _subject(verb)
    verb.add_argument("--at", metavar="N", type=int, help="as it stood after this entry")
    verb.add_argument("--to", metavar="FILE.pdf", help="print it")
    verb.add_argument("--language", metavar="TAG", help="language of the print (default: the clinic's)")
    _json(verb)
