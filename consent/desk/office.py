"""What the pages share while the service runs: the record, its cases, who is where, and the printing."""

from __future__ import annotations

import datetime as dt
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

from consent.desk.presence import Presence
from consent.desk.shelf import Shelf
from consent.desk.work import Workshop
from consent.language import Digits
from consent.record.canonical import digest
from consent.record.place import Record

BACKUP = "backup-"
"""How the folders of backups begin that wait to be fetched."""


@dataclass(frozen=True)
class DeskSettings:
    """How the pages are served.

    ``names``: names and addresses by which a browser may ask for them, the one that the patient's code opens first;
    ``tls``: whether the browser is reached by TLS; ``clinic_file``: the clinic's settings, none for the shipped
    invented clinic; ``mirrored``: every page laid out right to left, to try the layout.
    """

    names: tuple[str, ...] = ("127.0.0.1", "localhost")
    port: int = 8730
    tls: bool = False
    clinic_file: Path | None = None
    mirrored: bool = False
    printers: int = 1
    requests_a_minute: int = 600

    @property
    def hosts(self) -> tuple[str, ...]:
        """What a browser may put into the header Host: a name with its port, alone where the port is the usual one."""
        usual = 443 if self.tls else 80
        return tuple(f"{name}:{self.port}" if self.port != usual else name for name in self.names)

    @property
    def address(self) -> str:
        """Where the pages are, as an address to open."""
        return f"{'https' if self.tls else 'http'}://{self.hosts[0]}"


@dataclass
class Office:
    """One running desk."""

    record: Record
    settings: DeskSettings
    shelf: Shelf = field(init=False)
    presence: Presence = field(init=False)
    work: Workshop = field(init=False)
    form_secret: str = field(init=False)

    def __post_init__(self) -> None:
        self.shelf = Shelf(self.record)
        self.presence = Presence(self.record.clock)
        self.work = Workshop(self.record.place, lambda: self.record.clinic, self.settings.printers)
        self.form_secret = self.record.key.stamp("desk", "forms")
        for left in self.record.place.folder.glob(f"{BACKUP}*"):  # of a desk that was stopped before they were fetched
            shutil.rmtree(left, ignore_errors=True)

    def use(self, record: Record) -> None:
        """Go on with ``record``, which has other settings: what was worked out with the old ones is forgotten."""
        self.record = record
        self.shelf = Shelf(record)

    @property
    def settings_print(self) -> str:
        """What the pages rest on besides the record: the same as long as the clinic's settings are."""
        return digest(self.record.clinic.model_dump_json().encode())[:16]

    @property
    def zone(self) -> ZoneInfo:
        """The clinic's time zone."""
        return ZoneInfo(self.record.clinic.time_zone)

    @property
    def today(self) -> dt.date:
        """The day by the clinic's clock."""
        return self.now.date()

    @property
    def now(self) -> dt.datetime:
        """The time on the clinic's clock, whole seconds."""
        return self.record.clock().astimezone(self.zone).replace(microsecond=0)

    @property
    def digits(self) -> Digits:
        """Which digits the clinic writes."""
        return self.record.clinic.digits

    def close(self) -> None:
        """Stop printing and let go of the record."""
        self.work.close()
        self.record.close()
