"""The command line: parses, hands over, and turns an error of the family into words and an exit code."""

from __future__ import annotations

import argparse
import importlib
import sys
from collections.abc import Sequence

from consent import __version__
from consent.errors import ConsentError, Problem, UsageError

_EPILOG = """exit codes:
   0  done
   2  the command was not understood
   3  the case file cannot be used
   4  the clinic's settings cannot be used
   5  the evidence library is not in order
   6  the drop plan cannot be made
   7  words are missing in a language
   8  a sheet would come out wrong and was not printed
   9  this machine is not ready
  10  the consent form lacks what it must hold
  11  the record does not hold together
  12  a paper is not to be relied on
  13  you may not do this
  14  the case is not there yet
  15  somebody else wrote to the case meanwhile
  16  some patients of a list have no papers; the rest is made
 130  stopped with Ctrl-C; the same command goes on

Nothing this program prints is final before a licensed clinician has reviewed and signed it.
"""

_VERBS = (
    "demo",
    "prepare",
    "list",
    "batch",
    "worker",
    "assess",
    "explain",
    "audit",
    "evidence",
    "languages",
    "schema",
    "check",
    "record",
    "account",
    "verify",
    "backup",
    "restore",
    "export",
    "serve",
)


def parser() -> argparse.ArgumentParser:
    """The parser of the whole command line."""
    top = argparse.ArgumentParser(
        prog="consent",
        description="Makes the consent form, review sheet, going-home sheet and drop calendar of one cataract "
        "operation, in the patient's language, for the surgeon to review and sign.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"consent {__version__}")
    verbs = top.add_subparsers(dest="verb", metavar="VERB", required=True)
    for add in (
        _demo,
        _prepare,
        _list,
        _batch,
        _worker,
        _assess,
        _explain,
        _audit,
        _evidence,
        _languages,
        _schema,
        _check,
        _record,
        _account,
        _verify,
        _backup,
        _restore,
        _export,
        _serve,
    ):
        add(verbs)
    return top


Verbs = "argparse._SubParsersAction[argparse.ArgumentParser]"


def _demo(verbs: Verbs) -> None:  # type: ignore[valid-type]
    verb = _verb(verbs, "demo", "Makes a complete pack for an invented case at an invented clinic, in two languages.")
    verb.add_argument("--to", metavar="DIR", default="consent-demo", help="folder for the pack (default: consent-demo)")
    verb.add_argument(
        "--case",
        choices=("hard", "ordinary", "second-eye", "torn"),
        default="hard",
        help="which invented case (default: hard)",
    )


def _prepare(verbs: Verbs) -> None:  # type: ignore[valid-type]
    verb = _verb(verbs, "prepare", "Makes every sheet of a case as PDF, with a calendar file, the data and an index.")
    _case(verb)
    verb.add_argument("--to", metavar="DIR", required=True, help="folder for the pack; it is made if it is not there")
    verb.add_argument("--language", metavar="TAG", action="append", default=[], help="a language tag; may be repeated")
    verb.add_argument("--sheet", metavar="SHEET", action="append", default=[], help="only this sheet; may be repeated")
    verb.add_argument("--paper", choices=("A4", "A5"), default="A4", help="paper of the drop calendar (default: A4)")
    verb.add_argument("--large-print", action="store_true", help="take-home sheets in large print, whatever the case")
    verb.add_argument("--audio", action="store_true", help="the papers for home also read aloud by a machine voice")
    verb.add_argument("--json", action="store_true", help="print the list of files as JSON")


def _list(verbs: Verbs) -> None:  # type: ignore[valid-type]
    verb = _verb(verbs, "list", "Makes the sheets of an operating day: order, lenses to pick, missed visits.")
    verb.add_argument("cases", metavar="CASE", nargs="+", help="case files of the day's patients, TOML or JSON")
    verb.add_argument("--clinic", metavar="FILE", help="the clinic's settings file")
    verb.add_argument("--to", metavar="DIR", required=True, help="folder for the sheets; it is made if it is not there")
    verb.add_argument("--on", metavar="DATE", help="the day, such as 2026-12-28 (default: the first of the cases)")
    verb.add_argument("--language", metavar="TAG", help="a language tag (default: the clinic's language)")


def _worker(verbs: Verbs) -> None:  # type: ignore[valid-type]
    from consent.commands.cluster_options import of_worker

    of_worker(_verb(verbs, "worker", "Makes packs that are ordered by consent batch --cluster on any machine."))


def _batch(verbs: Verbs) -> None:  # type: ignore[valid-type]
    from consent.commands.batch_options import add

    add(_verb(verbs, "batch", "Makes the packs of a whole list of patients, the lists of each day and print files."))


def _assess(verbs: Verbs) -> None:  # type: ignore[valid-type]
    verb = _verb(verbs, "assess", "Shows risks, points, drop plan and completeness of a case.")
    _case(verb)
    verb.add_argument("--json", action="store_true", help="print the whole assessment as one JSON object")


def _explain(verbs: Verbs) -> None:  # type: ignore[valid-type]
    verb = _verb(verbs, "explain", "Shows how one figure of a case was reached, source by source.")
    _case(verb)
    verb.add_argument("outcome", metavar="OUTCOME", help="an outcome, such as capsule_rupture")
    verb.add_argument("--json", action="store_true", help="print the chain as JSON")


def _audit(verbs: Verbs) -> None:  # type: ignore[valid-type]
    verb = _verb(verbs, "audit", "Compares the clinic's own past cases with what the model expected of them.")
    verb.add_argument("file", metavar="FILE", help="past consecutive cases, one row each: CSV, XLSX or ODS")
    verb.add_argument("--clinic", metavar="FILE", help="the clinic's settings file")
    verb.add_argument("--write", action="store_true", help="put the result into the file given with --clinic")
    verb.add_argument("--years", metavar="TEXT", help="years of the cases (default: from the operation dates)")
    verb.add_argument("--rejects", metavar="FILE.csv", help="write the rows that cannot be used, each with its reason")
    verb.add_argument("--picture", metavar="FILE.svg", help="draw observed against expected")
    verb.add_argument("--json", action="store_true", help="print everything as one JSON object")


def _evidence(verbs: Verbs) -> None:  # type: ignore[valid-type]
    verb = _verb(verbs, "evidence", "Lists the published series, or prints one with every figure.")
    verb.add_argument("series", metavar="ID", nargs="?", help="a series, such as narendran-2009")
    verb.add_argument("--outcome", metavar="OUTCOME", help="only figures of this outcome, such as capsule_rupture")
    verb.add_argument("--unverified", action="store_true", help="only figures not read in their primary source")
    verb.add_argument("--json", action="store_true", help="print as JSON")


def _languages(verbs: Verbs) -> None:  # type: ignore[valid-type]
    from consent.commands.languages_options import add

    add(_verb(verbs, "languages", "Shows how far the words of each language have been checked; keeps a review."))


def _schema(verbs: Verbs) -> None:  # type: ignore[valid-type]
    verb = _verb(verbs, "schema", "Prints the JSON Schema of a case file or of a clinic's settings file.")
    verb.add_argument("what", choices=("case", "clinic"), nargs="?", default="case", help="which file (default: case)")


def _check(verbs: Verbs) -> None:  # type: ignore[valid-type]
    verb = _verb(verbs, "check", "Tells whether this machine has what printing needs.")
    verb.add_argument("--json", action="store_true", help="print as JSON")


def _record(verbs: Verbs) -> None:  # type: ignore[valid-type]
    from consent.commands.record_options import add

    add(_verb(verbs, "record", "Keeps the record of each case: who said, saw and signed what."))


def _account(verbs: Verbs) -> None:  # type: ignore[valid-type]
    from consent.commands.record_options import add_account

    add_account(_verb(verbs, "account", "Keeps the accounts of those who enter anything in the record."))


def _verify(verbs: Verbs) -> None:  # type: ignore[valid-type]
    from consent.commands.record_options import where

    verb = _verb(verbs, "verify", "Tells whether a paper is the one that was signed, by whom, and whether it holds.")
    verb.add_argument("files", metavar="FILE", nargs="*", help="a signed PDF, or a photograph of a page (PNG, JPEG)")
    verb.add_argument("--code", metavar="TEXT", action="append", default=[], help="the code of a page, typed")
    verb.add_argument("--certificate", metavar="FILE", help="the clinic's certificate (PEM or DER), where no record is")
    verb.add_argument("--offline", action="store_true", help="do not look into a record even if there is one")
    verb.add_argument("--data", action="store_true", help="print the data inside")
    verb.add_argument("--json", action="store_true", help="print everything as JSON")
    where(verb)


def _backup(verbs: Verbs) -> None:  # type: ignore[valid-type]
    verb = _kept(verbs, "backup", "Writes the record as it is now, encrypted, into one file.")
    verb.add_argument("--to", metavar="FILE", required=True, help="the new file")
    _passphrase(verb)


def _restore(verbs: Verbs) -> None:  # type: ignore[valid-type]
    verb = _kept(verbs, "restore", "Makes a record of a backup, in an empty place, and proves that it is the same.")
    verb.add_argument("file", metavar="FILE", help="the backup")
    _passphrase(verb)
    verb.add_argument("--erased", metavar="FILE", help="list of erasures made since, to be done again")


def _passphrase(verb: argparse.ArgumentParser) -> None:
    told = "file with the passphrase on its first line (default: it is asked for)"
    verb.add_argument("--passphrase-file", metavar="FILE", help=told)


def _export(verbs: Verbs) -> None:  # type: ignore[valid-type]
    verb = _kept(verbs, "export", "Writes everything the record holds of one patient into a folder, to be handed out.")
    verb.add_argument("subject", metavar="CASE", help="name of a case of the patient in the record")
    verb.add_argument("--to", metavar="DIR", required=True, help="an empty folder")
    verb.add_argument("--reason", metavar="TEXT", required=True, help="who asked for it, in a sentence")
    verb.add_argument("--as", dest="login", metavar="LOGIN", required=True, help="who you are, a clinic lead")


def _serve(verbs: Verbs) -> None:  # type: ignore[valid-type]
    verb = _kept(verbs, "serve", "Serves the pages in a browser, for counsellor, surgeon, theatre and lead.")
    verb.add_argument("--host", default="127.0.0.1", help="address to listen on (default: this machine alone)")
    verb.add_argument("--port", type=int, default=8730, help="port (default: 8730)")
    told = "name or address by which browsers ask for it; the first stands in patients' codes; may be repeated"
    verb.add_argument("--name", metavar="NAME", action="append", default=[], help=told)
    verb.add_argument("--tls", action="store_true", help="encrypt, with a certificate of this machine's own")
    verb.add_argument("--certificate", metavar="FILE", help="the clinic's own certificate for this address (PEM)")
    verb.add_argument("--key", metavar="FILE", help="its key (PEM)")
    verb.add_argument("--printers", metavar="N", type=int, default=1, help="processes that print (default: 1)")


def _kept(verbs: Verbs, name: str, text: str) -> argparse.ArgumentParser:  # type: ignore[valid-type]
    from consent.commands.record_options import where

    verb = _verb(verbs, name, text)
    verb.allow_abbrev = False  # --passphrase is not short for --passphrase-file: nobody is to type one there
    where(verb)
    return verb


def _verb(verbs: Verbs, name: str, text: str) -> argparse.ArgumentParser:  # type: ignore[valid-type]
    made: argparse.ArgumentParser = verbs.add_parser(name, help=text, description=text)  # type: ignore[attr-defined]
    return made


def _case(verb: argparse.ArgumentParser) -> None:
    verb.add_argument("case", metavar="CASE", help="case file, TOML or JSON")
    verb.add_argument("--clinic", metavar="FILE", help="the clinic's settings file")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    given = sys.argv[1:] if arguments is None else arguments
    options = parser().parse_args(given)
    module = importlib.import_module(f"consent.commands.{options.verb}")
    try:
        _refuse_no_text(given)
        module.run(options)
    except ConsentError as error:
        print(error, file=sys.stderr)  # noqa: T201
        return error.exit_code
    except BrokenPipeError:
        sys.stderr.close()
    return 0


def _refuse_no_text(arguments: Sequence[str]) -> None:
    """Bytes that are no UTF-8 come as halves of surrogate pairs (PEP 383): they can be neither recorded nor printed."""
    for argument in arguments:
        if any("\ud800" <= sign <= "\udfff" for sign in argument):
            remedy = "type it again in a terminal that is set to UTF-8; a file with such a name needs another name"
            raise UsageError(Problem("this is not text in UTF-8", ascii(argument), remedy=remedy))


def run() -> None:
    """Entry point of the installed command."""
    sys.exit(main())
