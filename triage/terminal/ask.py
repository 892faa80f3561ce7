"""The labeling screen in the terminal: the photo, one question, one key per answer."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, Any, ClassVar

from rich.text import Text
from textual import events
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.widgets import Input, Static

from triage.domain.plurals import count_of
from triage.errors import INTERRUPTED, TriageError
from triage.platforms import has_unix_terminal
from triage.terminal import panel
from triage.terminal.dialogs import MessageDialog, QuestionDialog
from triage.terminal.gate import SETTLE_S, Gate
from triage.terminal.photo_widget import PhotoWidget
from triage.terminal.picture import grid_box
from triage.terminal.pixels import BLOCKS, PixelPhoto, Way, way_of
from triage.terminal.session import NUMBERED, Session
from triage.terminal.slow import Outcome, SlowStep

if TYPE_CHECKING:
    from collections.abc import Collection

    from triage.batch import Cancel, Progress
    from triage.label.order import Question
    from triage.library import Library
    from triage.library.records import Photo

HELP = """\
p  present            n  next            + -    zoom
a  absent             b  back            arrows move
c  cannot tell        j  jump to a deck  0      whole photo
o  present, and none  u  undo            g      grid on or off
   of the rest        q  leave           d      what the tag means
1-9  only that number of the open tags: present, and none of the rest
F1-F9  only that number: cannot tell there, and none of the rest;
t  before o or a number does the same where F keys are taken
x  none of the open   Ctrl-C leaves at once
   tags on this photo
s  mark a square (c4, or c4-e5 for several)
w  where on the deck: 'joist 4 of 14 from the left, house side'
h  how many; Esc takes away what you marked
m  the machine's word; Enter takes the place where it looked
l  more like this: the nearest photos, to answer a run of them
A square, a place or a count goes with 'present'. Everything is saved at
once. A key typed before a photo is on the screen is dropped: the dot in
the first line is full when the question takes answers."""
KEYS = "p present  a absent  c cannot tell  o only this  1-9 only that  x none  s w h mark  u undo  ? help  q"
TAKING, NOT_YET = "●", "○"
F_KEYS = tuple(f"f{number}" for number in range(1, NUMBERED + 1))
ANSWERING = frozenset(("p", "a", "c", "x", "o", "u", *map(str, range(1, NUMBERED + 1)), *F_KEYS))
"""Keys that store something: they count only when the photo has stood on the screen for a moment."""
LIST_ANSWERS = frozenset({"p", "a", "space"})
"""The same in the list of look-alikes, where space chooses a photo."""
MOST_COUNT = 1_000_000


class AskApp(App[None]):
    """The labeling screen."""

    CSS = """
    Screen { layout: vertical; }
    #head { height: 1; }
    #middle { height: 1fr; }
    PhotoWidget { width: 1fr; height: 1fr; }
    #side { width: 26; padding: 0 0 0 1; }
    #side.wide { width: 40; }
    #question, #said, #meaning, #also { height: auto; }
    #said { max-height: 8; }
    #example { height: 9; }
    #example.absent { display: none; }
    #keys { height: 1; }
    #asking, #telling { width: auto; max-width: 76; height: auto; padding: 1 2; border: solid $primary; background: $surface; }
    ModalScreen { align: center middle; }
    """  # noqa: E501
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("p", "answer('present')", "present"),
        Binding("a", "answer('absent')", "absent"),
        Binding("c", "answer('unclear')", "cannot tell"),
        Binding("x", "none", "none of the rest"),
        Binding("o", "only_here", "only this"),
        Binding("t", "only_unclear", show=False),
        *(Binding(str(number), f"only_here({number})", show=False) for number in range(1, NUMBERED + 1)),
        *(Binding(key, f"only_unclear_at({key[1:]})", show=False) for key in F_KEYS),
        Binding("w", "place", "where"),
        Binding("h", "count", "how many"),
        Binding("escape", "unmark", show=False),
        Binding("n", "step(1)", "next"),
        Binding("b", "step(-1)", "back"),
        Binding("u", "undo", "undo"),
        Binding("j", "jump", "jump"),
        Binding("s", "square", "square"),
        Binding("d", "define", "definition"),
        Binding("m", "machine", "machine"),
        Binding("enter", "take_place", "its place"),
        Binding("l", "like", "more like this"),
        Binding("g", "grid", "grid"),
        Binding("plus,equals_sign", "zoom(1.5)", "in"),
        Binding("minus", "zoom(0.667)", "out"),
        Binding("0", "whole", "whole"),
        Binding("left", "pan(-0.25,0)", show=False),
        Binding("right", "pan(0.25,0)", show=False),
        Binding("up", "pan(0,-0.25)", show=False),
        Binding("down", "pan(0,0.25)", show=False),
        Binding("question_mark", "help", "help"),
        Binding("q", "quit", "leave"),
    ]

    def __init__(self, session: Session, way: Way | None = None, settle_s: float = SETTLE_S) -> None:
        super().__init__()
        self.session = session
        self.gate = Gate(settle_s)
        self._way = way or Way()
        self._said = ""
        self._only = "present"
        self._taking = False
        self._vocabulary = session.library.vocabulary()
        self._color = not os.environ.get("NO_COLOR")

    def compose(self) -> ComposeResult:
        """Lay the screen out: head, photo and side, keys."""
        yield Static(id="head")
        with Horizontal(id="middle"):
            main = PhotoWidget(color=self._color) if self._way.name == BLOCKS else PixelPhoto(self._way)
            main.id = "photo"
            yield main
            with Vertical(id="side"):
                yield Static(id="question")
                yield Static(id="said")
                yield Static(id="meaning")
                yield Static(id="also")
                yield PhotoWidget(color=self._color, id="example")
        yield Static(Text(KEYS, no_wrap=True, overflow="ellipsis"), id="keys")

    def on_mount(self) -> None:
        """Show the first question; what was typed before it is thrown away."""
        drop_typed_ahead()
        self.show()

    def on_resize(self) -> None:
        """Fit the panel into the new size, which is known once the screen has been laid out."""
        self.call_after_refresh(self._panel)

    @property
    def photo(self) -> PhotoWidget:
        """The widget that draws the photo."""
        return self.query_one("#photo", PhotoWidget)

    # ---- which keys count -----------------------------------------------------------------------------

    async def on_event(self, event: events.Event) -> None:
        """Let a key through only if the screen showed what it is about when it was typed."""
        if isinstance(event, events.Key) and not event.is_forwarded:
            if event.key == "ctrl+c":
                self.leave_at_once()
                return
            if not self._takes(event):
                self._tell_dropped()
                return
        elif isinstance(event, events.Paste) and not event.is_forwarded and not self.gate.is_open:
            return
        await super().on_event(event)

    def _takes(self, event: events.Key) -> bool:
        """Say whether a key may act; it closes the gate until what it does is on the screen."""
        if isinstance(self.screen, SlowStep):
            if event.key == "escape":
                return True
            self.gate.dropped += 1
            return False
        answers = event.key in ANSWERING if len(self.screen_stack) == 1 else event.key in LIST_ANSWERS
        typing = isinstance(self.focused, Input)
        if not self.gate.takes(event.time, answers=answers and not typing):
            return False
        if not typing or event.key in ("enter", "escape"):
            self.draw_first()
        return True

    def draw_first(self) -> None:
        """Take no key until what comes now has been drawn."""
        turn = self.gate.close()
        self.call_after_refresh(lambda: self._drawn(turn))

    def _drawn(self, turn: int) -> None:
        if self.gate.open(turn, events.Idle().time) and len(self.screen_stack) == 1:
            self._tell_dropped()
            self.set_timer(max(0.01, self.gate.settle_s), lambda: self._take_answers(turn))

    def _take_answers(self, turn: int) -> None:
        """Show that the question on the screen takes answers now."""
        if self.gate.is_at(turn) and len(self.screen_stack) == 1 and not self._taking:
            self._taking = True
            self._write_head()

    def _tell_dropped(self) -> None:
        if self.gate.is_open and len(self.screen_stack) == 1:
            told = self.gate.told()
            if told:
                self._tell(f"{self._said} {told}".strip())

    def push_screen(self, *args: Any, **kwargs: Any) -> Any:
        """Open a window; keys count from when it is drawn."""
        pushed = super().push_screen(*args, **kwargs)
        self.draw_first()
        return pushed

    def leave_at_once(self) -> None:
        """Leave without waiting for anything: every answer is on the disk already."""
        for screen in self.screen_stack:
            if isinstance(screen, SlowStep):
                screen.end()
        self.exit(return_code=INTERRUPTED)

    # ---- drawing --------------------------------------------------------------------------------------

    def show(self, said: str = "") -> None:
        """Draw the question that is asked now, and what was just said."""
        one = self.session.question
        self._said, self._taking, self._only = said, False, "present"
        self.draw_first()
        if one is None:
            self.photo.show(None)
        else:
            self.photo.show(self._rendition(one), boxes=self.session.boxes)
        self._write_head()
        self._panel()
        self.call_after_refresh(self._panel)  # how large the photo is drawn is known by then

    def _rendition(self, one: Question) -> Any:
        from triage.imaging.kept import rendition_of

        try:
            return rendition_of(self.session.library, one.photo.sha)
        except TriageError as error:
            self._said = str(error)
            return None

    def _write_head(self) -> None:
        """Write the first line; the dot is full once the question takes answers."""
        one = self.session.question
        words = "All answered." if one is None else self._head(one)
        dot = TAKING if self._taking else NOT_YET
        self.query_one("#head", Static).update(Text(f"{dot} {words}", no_wrap=True, overflow="ellipsis"))

    def _head(self, one: Question) -> str:
        pace = self.session.pace()
        speed = f"  {pace:.0f} a minute" if pace else ""
        count = f"{self.session.done} of {len(self.session.asked)} answered"
        urgent = self.session.urgent_photos()
        if one.urgent and urgent:
            count = f"look first: {count_of(urgent, 'photo')} left, {count}"
        elif listed := self.session.listed_photos():
            count = f"other lists: {count_of(listed, 'photo')} left, {count}"
        return f"{count}{speed}   {_plain(one.photo.path_name)}"

    def _tell(self, words: str) -> None:
        self._write("#said", Text(words))

    def _write(self, name: str, text: Text) -> None:
        """Write a part of the panel; an empty one takes no row."""
        text.rstrip()
        part = self.query_one(name, Static)
        part.display = bool(text.plain)
        part.update(text)

    def _panel(self) -> None:
        """Write the panel: the question, what was said, what the tag means, an example where it fits."""
        if not self.query("#side"):
            return
        one, width = self.session.question, panel.panel_width(self.size.width)
        self.query_one("#side").set_class(width == panel.WIDE, "wide")
        if one is None:
            asked = Text(f"{self.session.done} answers are saved.\n\nu takes the last one back, q leaves.")
            meaning, also, example = Text(), Text(), None
        else:
            small = panel.small_words(one.tag, self.photo.shown_px(), self.photo.view.zoom)
            asked, also = panel.question_text(self.session, one), panel.also_text(self.session, one)
            asked.append(f"{small}\n" if small else "")
            taken = panel.rows_of((asked.plain, self._said, also.plain), width - 1)
            meaning, example = self._meaning(one.tag, width - 1, self.size.height - 2 - taken)
        self._tell(self._said)
        for name, text in (("#question", asked), ("#meaning", meaning), ("#also", also)):
            self._write(name, text)
        picture = self.query_one("#example", PhotoWidget)
        picture.set_class(example is None, "absent")
        picture.show_bytes(example)

    def _meaning(self, tag: str, width: int, rows: int) -> tuple[Text, bytes | None]:
        """Return the tag's meaning in the rows that are left, and an example where there is room for it."""
        from triage.label.examples import example_of

        known = self._vocabulary.tags[tag]
        whole = panel.meaning_text(known, width, 1_000)
        beside = panel.rows_of((whole.plain,), width)
        if beside + panel.EXAMPLE_ROWS <= rows:
            return whole, example_of(known)
        return panel.meaning_text(known, width, rows), None

    # ---- answers --------------------------------------------------------------------------------------

    def _do(self, act: Any) -> None:
        """Do something that may be refused, and say what happened."""
        self.session.put_off = 0
        try:
            said = act()
        except TriageError as error:
            said = f"{error} {error.hint}".strip()
        if self.session.put_off:
            photos = count_of(self.session.put_off, "photo comes", "photos come")
            said = f"{said or ''} This deck is found: its other {photos} after the lists.".strip()
        self.show(said or "")

    def action_answer(self, value: str) -> None:
        """Answer the question."""

        def said() -> str:
            with_part = self.session.answered_with_part() if value == "absent" else []
            self.session.answer(value)
            return f"answered no with the part: {panel.listed(with_part)}" if with_part else ""

        self._do(said)

    def action_only_here(self, number: int | None = None) -> None:
        """Answer present here, or to the open tag of a number, and absent to the others on this photo."""

        def said() -> str:
            value = self._only
            tag, rest = self.session.only_here(number, value)
            others = count_of(rest, "other tag")
            here = "cannot tell" if value == "unclear" else value
            return f"{here}: {panel.tag_words(tag)}; absent: {others} on that photo"

        self._do(said)

    def action_only_unclear(self) -> None:
        """Let the next o or number key answer that it cannot be told."""
        self._only = "unclear"
        self._tell("cannot tell, and none of the rest: o for this tag, or its number; Esc to drop")

    def action_only_unclear_at(self, number: int) -> None:
        """Answer 'cannot tell' to the open tag of a number, and absent to the others on this photo."""
        self._only = "unclear"
        self.action_only_here(number)

    def action_unmark(self) -> None:
        """Take away what was marked and not answered with."""
        self.session.unmark()
        self.show()

    def action_place(self) -> None:
        """Ask where on the deck it is."""
        self._ask("Where on the deck? As 'joist 4 of 14 from the left, house side'", self._place)

    def _place(self, line: str) -> str:
        self.session.place = line.strip()[:200] or None
        return "noted; p answers present there"

    def action_count(self) -> None:
        """Ask how many there are."""
        self._ask("How many does this photo show?", self._count)

    def _count(self, line: str) -> str:
        text = line.strip()
        if not text.isascii() or not text.isdigit() or not 0 < int(text[:9]) <= MOST_COUNT:
            return f"{text!r} is not a number from 1 on"
        self.session.count = int(text)
        return "noted; p answers present, so many"

    def action_none(self) -> None:
        """Answer absent to every open tag on this photo."""
        self._do(lambda: f"absent: {self.session.none_of_the_rest()} tags on that photo")

    def action_undo(self) -> None:
        """Take the last act back."""
        self._do(lambda: f"took back {self.session.undo()} answer(s)")

    def action_step(self, by: int) -> None:
        """Go to another question."""
        self._do(lambda: self.session.step(by))

    def action_jump(self) -> None:
        """Ask for a deck and go there."""
        self._ask("Which deck?", lambda line: self.session.jump(line))

    def action_square(self) -> None:
        """Ask for a square of the grid and mark it."""
        self.photo.grid = True
        self.photo.redraw()
        self._ask("Which square? c4, or c4-e5 for several", self._mark)

    def _mark(self, line: str) -> str:
        try:
            self.session.boxes = [*self.session.boxes, grid_box(line)]
        except ValueError as error:
            return str(error)
        return "marked; p answers present there"

    def _ask(self, words: str, act: Any) -> None:
        def done(line: str | None) -> None:
            self._do((lambda: act(line)) if line else (lambda: ""))

        self.push_screen(QuestionDialog(words), done)

    def _tell_long(self, words: str) -> None:
        """Show words over the screen until a key is pressed."""
        self.push_screen(MessageDialog(words), lambda _: self.show(self._said))

    # ---- the machine, the definition, look-alikes ---------------------------------------------------------

    def action_machine(self) -> None:
        """Show the machine's word; the answer counts as made with it."""

        def said() -> str:
            one = self.session.suggestion()
            if one is None:
                return "the machine has said nothing here"
            return f"machine: {one.pile} ({one.probability:.0%}); Enter marks where it looked"

        self._do(said)

    def action_take_place(self) -> None:
        """Mark where the machine looked."""
        self._do(
            lambda: (
                "marked where the machine looked; p answers present there"
                if self.session.take_machine_place()
                else "the machine has no place here"
            )
        )

    def action_define(self) -> None:
        """Show what the tag means and what looks alike."""
        one = self.session.question
        if one is not None:
            tag = self.session.library.vocabulary().tag(one.tag)
            parts = [tag.tag, tag.definition]
            for head, text in (
                ("Looks like", tag.looks_like),
                ("Looks alike but is not", tag.looks_alike_but_is_not),
                ("How to photograph", tag.how_to_photograph),
            ):
                if text:
                    parts.append(f"{head}: {text}")
            self._tell_long("\n\n".join(parts))

    def action_like(self) -> None:
        """Offer the nearest photos for the same answer; photos that were never compared take a while."""
        if self.session.question is None:
            return

        def work(progress: Progress, cancel: Cancel) -> list[Photo]:
            return self.session.look_alikes(progress=progress, cancel=cancel)

        self.push_screen(SlowStep("Looking for the photos that look most like this one.", work), self._like)

    def _like(self, outcome: Outcome | None) -> None:
        from triage.terminal.look_alikes import LookAlikes

        if outcome is None or outcome.why_not:
            self.show(outcome.why_not if outcome else "")
            return

        def done(choice: tuple[str, list[Any]] | None) -> None:
            if choice is None:
                self.show()
            else:
                value, photos = choice
                self._do(lambda: f"{value}: {self.session.spread(value, photos)} photos")

        self.push_screen(LookAlikes(self.session, outcome.value, self._color), done)

    # ---- looking -----------------------------------------------------------------------------------------

    def action_zoom(self, factor: float) -> None:
        """Zoom in or out."""
        self.photo.zoom(factor)
        self._panel()

    def action_pan(self, right: float, down: float) -> None:
        """Move over the photo."""
        self.photo.pan(right, down)

    def action_whole(self) -> None:
        """Show the whole photo."""
        self.photo.whole()
        self._panel()

    def action_grid(self) -> None:
        """Show or hide the grid's letters and numbers."""
        self.photo.grid = not self.photo.grid
        self.photo.redraw()

    def action_help(self) -> None:
        """Show the keys."""
        self._tell_long(HELP)


def _plain(text: str) -> str:
    return "".join(char for char in text if char.isprintable())


def drop_typed_ahead() -> None:
    """Throw away what was typed before the screen was there."""
    if not has_unix_terminal() or not sys.stdin.isatty():
        return
    import termios

    termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)


def ask_in_terminal(
    library: Library,
    *,
    by: str,
    deck: str | None = None,
    tags: tuple[str, ...] = (),
    order: str = "deck",
    like: str | None = None,
    second_look: int | None = None,
    pixels: str = "auto",
    elements: bool = True,
) -> int | None:
    """Open the screen; returns the exit code when it was left, or null when nothing is left to ask.

    With `elements` the parts that are open are asked with the tags that hang on them, in the order `deck` and
    where no tags were chosen. Raises BadInput for an unknown deck, tag or photo, and without a terminal.
    """
    from triage.assess.parts_asked import part_tags
    from triage.assess.urgent import urgent_tags
    from triage.label.order import questions

    parts_of = (lambda name: part_tags(library, name)) if elements and not tags else None
    urgent = urgent_tags(library)
    asked = questions(
        library,
        by=by,
        deck=deck,
        tags=tags,
        order=order,
        like=like,
        second_look=second_look,
        parts_of=parts_of,
        urgent=urgent,
    )
    return ask_these(library, by, asked, pixels, urgent) if asked else None


def ask_these(
    library: Library, by: str, asked: list[Question], pixels: str = "auto", urgent: Collection[str] = ()
) -> int:
    """Open the screen on given questions; returns 0 when it was left, 130 by Ctrl-C.

    `pixels` is how photos are drawn: one of `triage.terminal.pixels.WAYS`. Raises BadInput without a
    terminal.
    """
    from triage.errors import BadInput

    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise BadInput("The labeling screen needs a terminal.", "Use label set or label read in scripts.")
    app = AskApp(Session(library, by, asked, urgent=urgent), way_of(pixels))
    app.run()
    return app.return_code or 0
