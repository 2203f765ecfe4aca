"""Sending through apprise: each attempt in a thread of its own, with an end, so that one that hangs holds up no other.

Rules of this file: what a gateway says back is never passed on as it is, since it may repeat an address or a password;
a reason is one of this file's own sentences. An attempt without an answer in LIMIT_S counts as failed. Its thread goes
on until the gateway or the time-out ends it; with HUNG of them a way gets no further attempt until one has ended.
"""

from __future__ import annotations

import logging
import re
import threading
import time
from collections.abc import Callable, Sequence
from typing import Any, Final, Protocol

from collector.messages.plan import Letter
from collector.messages.ways import Way
from collector.messages.words import Text

LIMIT_S: Final = 40.0  # of wall time; a mail server may take 15 s to be reached and as long for an answer
HUNG: Final = 3
SMS_LIKE: Final = 320  # a gateway that takes no more characters than this gets the first line alone
NOT_TAKEN: Final = "the gateway did not take it"
NO_ANSWER: Final = f"no answer within {LIMIT_S:g} s"
_REASONS: Final = (
    (re.compile(r"error=(4\d\d|5\d\d)"), "the gateway answered with error {0}"),
    (re.compile(r"[Aa]uthenticat|credential"), "the gateway refused user or password"),
    (re.compile(r"[Cc]onnection|Socket|timed out|refused|resolve"), "the gateway could not be reached"),
)


class Service(Protocol):
    """What this needs of one of apprise's services."""

    body_maxlen: int

    def notify(self, *, body: str, title: str, body_format: str) -> object: ...


def service_of(way: Way) -> Service | None:
    """The service that a way's url names, or None when apprise knows none or it is wrong."""
    import apprise  # here, since it takes a small machine a second: spent only where messages are asked for

    logging.getLogger("apprise").setLevel(logging.WARNING)
    # The service itself and not a list of services: those share a pool of threads, which gateways that hang would fill.
    found: Any = apprise.Apprise.instantiate(way.url, suppress_exceptions=True)
    return found or None


def takes_line(way: Way, service: Service) -> bool:
    """Whether this way gets the first line alone."""
    return service.body_maxlen <= SMS_LIKE if way.short is None else way.short


def send(way: Way, service: Service, text: Text) -> str:
    """One attempt; "" when the gateway took it, else why not."""
    short = takes_line(way, service)
    body, title = (text.line, "") if short else (text.body, text.title)
    with _Heard() as heard:
        try:
            taken = service.notify(body=body, title=title, body_format="text")  # else a service may take it for HTML
        except Exception as error:  # a service of apprise may raise anything; its text may hold an address
            return f"{NOT_TAKEN} ({type(error).__name__})"
        return "" if taken else heard.reason()


class _Heard(logging.Handler):
    """What apprise logs in this thread, kept from every other log."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self._thread, self._lines = threading.get_ident(), ""

    def emit(self, record: logging.LogRecord) -> None:
        if record.thread == self._thread:
            self._lines += record.getMessage() + "\n"

    def reason(self) -> str:
        for pattern, said in _REASONS:
            if found := pattern.search(self._lines):
                return said.format(*found.groups())
        return NOT_TAKEN

    def __enter__(self) -> _Heard:
        logger = logging.getLogger("apprise")
        logger.propagate = False
        logger.addHandler(self)
        return self

    def __exit__(self, *_: object) -> None:
        logging.getLogger("apprise").removeHandler(self)


class Attempt:
    """One letter under way; `said` is None until there is an answer."""

    def __init__(self, letter: Letter, text: Text, service: Service, monotonic_s: Callable[[], float]) -> None:
        self.letter, self.text = letter, text
        self.said: str | None = None
        self._monotonic_s, self._began_s = monotonic_s, monotonic_s()
        self.thread = threading.Thread(target=self._run, args=(service,), daemon=True, name=f"to {letter.way.id}")
        self.thread.start()

    def _run(self, service: Service) -> None:
        self.said = send(self.letter.way, service, self.text)

    def answer(self) -> str | None:
        """What came of it: "" taken, a reason, or None while it is under way and within its time."""
        if self.said is None and self._monotonic_s() - self._began_s > LIMIT_S:
            return NO_ANSWER
        return self.said


class Post:
    """The attempts under way, at most one a way; `services` by way's id."""

    def __init__(
        self, services: dict[str, Service], monotonic_s: Callable[[], float] = time.monotonic
    ) -> None:  # fmt: skip
        self._services, self._monotonic_s = services, monotonic_s
        self._under_way: dict[str, Attempt] = {}
        self._hung: dict[str, list[threading.Thread]] = {}

    def start(self, letter: Letter, text: Text) -> None:
        """Begin to send a letter."""
        way = letter.way.id
        self._under_way[way] = Attempt(letter, text, self._services[way], self._monotonic_s)

    def answered(self) -> Sequence[tuple[Attempt, str]]:
        """Attempts that have come to an end, and what came of each; each way stays busy until `done`."""
        found = [(attempt, attempt.answer()) for attempt in self._under_way.values()]
        return [(attempt, said) for attempt, said in found if said is not None]

    def done(self, attempt: Attempt) -> None:
        """What came of it is written down: its way is free."""
        way = attempt.letter.way.id
        del self._under_way[way]
        if attempt.thread.is_alive():
            self._hung.setdefault(way, []).append(attempt.thread)

    def busy(self) -> set[str]:
        """Ways that take no letter now."""
        self._hung = {way: alive for way, all_ in self._hung.items() if (alive := [t for t in all_ if t.is_alive()])}
        return set(self._under_way) | {way for way, alive in self._hung.items() if len(alive) >= HUNG}

    @property
    def waiting(self) -> int:
        """How many letters are under way."""
        return len(self._under_way)
