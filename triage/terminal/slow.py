"""A slow step over the labeling screen: it shows its progress, Esc stops it, no other key does anything."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Static

from triage.errors import TriageError

if TYPE_CHECKING:
    from triage.batch import Cancel, Progress

Work = Callable[["Progress", "Cancel"], Any]
STOPPED = "Stopped; what was computed so far is kept."
_LOOK_EVERY_S = 0.1


@dataclass(frozen=True)
class Outcome:
    """What came of a slow step: its value, or in words why there is none."""

    value: Any = None
    why_not: str = ""


class SlowStep(ModalScreen[Outcome]):
    """Runs some work on a thread of its own, so that the screen goes on; the thread never draws."""

    CSS = """
    #slow { width: 60; height: auto; padding: 1 2; border: solid $primary; background: $surface; }
    #slow Static { width: 1fr; height: auto; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "stop", "stop")]

    def __init__(self, words: str, work: Work) -> None:
        super().__init__()
        self._words, self._work = words, work
        self._stop = threading.Event()
        self._done: tuple[int, int | None] = (0, None)
        self._outcome: Outcome | None = None
        self._error: BaseException | None = None

    def compose(self) -> ComposeResult:
        """Say what is done and how far it is."""
        with Vertical(id="slow"):
            yield Static(Text(self._words))
            yield Static(id="progress")
            yield Static(Text("Esc stops. Other keys do nothing until it is done."))

    def on_mount(self) -> None:
        """Begin, and look after it."""
        threading.Thread(target=self._run, name="slow step", daemon=True).start()
        self.set_interval(_LOOK_EVERY_S, self._look)

    def _run(self) -> None:
        def progress(_step: str, done: int, total: int | None) -> None:
            self._done = (done, total)

        try:
            self._outcome = Outcome(self._work(progress, self._stop.is_set))
        except TriageError as error:
            self._outcome = Outcome(why_not=f"{error} {error.hint}".strip())
        except Exception as error:  # raised again where the app sees it
            self._error = error

    def _look(self) -> None:
        if self._error is not None:
            raise self._error
        done, total = self._done
        self.query_one("#progress", Static).update(Text(f"{done} of {total}" if total else "Working ..."))
        if self._outcome is not None and self.is_current:
            outcome, self._outcome = self._outcome, None
            self.dismiss(outcome)

    def action_stop(self) -> None:
        """Go back at once; the thread ends after the photo that it is at."""
        self._stop.set()
        self.dismiss(Outcome(why_not=STOPPED))

    def end(self) -> None:
        """Tell the thread to end, since the program is left."""
        self._stop.set()
