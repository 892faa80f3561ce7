"""The labelling screen in the terminal: the photo, one question, one key per answer."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any, ClassVar

from rich.text import Text
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.widgets import Static

from triage.assess.view import QUALITY_FLAGS
from triage.errors import TriageError
from triage.terminal.dialogs import MessageDialog, QuestionDialog
from triage.terminal.photo_widget import PhotoWidget
from triage.terminal.picture import grid_box
from triage.terminal.pixels import BLOCKS, PixelPhoto, Way, way_of
from triage.terminal.session import Session

if TYPE_CHECKING:
    from triage.label.order import Question
    from triage.library import Library

HELP = """\
p  present            n  next            + -    zoom
a  absent             b  back            arrows move
c  cannot tell        j  jump to a deck  0      whole photo
x  none of the open   u  undo            g      grid on or off
   tags on this photo q  leave           d      what the tag means
s  mark a square (c4, or c4-e5 for several)
m  the machine's word; Enter takes the place where it looked
l  more like this: the nearest photos, to answer a run of them
A square or place goes with 'present'. Everything is saved at once."""


class AskApp(App[None]):
    """The labelling screen."""

    CSS = """
    Screen { layout: vertical; }
    #head { height: 1; }
    #middle { height: 1fr; }
    PhotoWidget { width: 1fr; height: 1fr; }
    #side { width: 26; padding: 0 0 0 1; }
    #said { height: auto; max-height: 8; }
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

    def __init__(self, session: Session, way: Way | None = None) -> None:
        super().__init__()
        self.session = session
        self._way = way or Way()
        self.said = ""
        self._colour = not os.environ.get("NO_COLOR")

    def compose(self) -> ComposeResult:
        """Lay the screen out: head, photo and side, keys."""
        yield Static(id="head")
        with Horizontal(id="middle"):
            yield PhotoWidget(colour=self._colour) if self._way.name == BLOCKS else PixelPhoto(self._way)
            with Vertical(id="side"):
                yield Static(id="question")
                yield Static(id="said")
        yield Static(
            Text("p present  a absent  c cannot tell  x none  s square  m machine  u undo  ? help  q"),
            id="keys",
        )

    def on_mount(self) -> None:
        """Show the first question."""
        self.show()

    @property
    def photo(self) -> PhotoWidget:
        """The widget that draws the photo."""
        return self.query_one(PhotoWidget)

    def show(self, said: str = "") -> None:
        """Draw the question that is asked now, and what was just said."""
        one = self.session.question
        self.query_one("#said", Static).update(Text(said))
        if one is None:
            self.photo.show(None)
            self.query_one("#head", Static).update(Text("All answered."))
            self.query_one("#question", Static).update(
                Text(f"{self.session.done} answers are saved.\n\nu takes the last one back, q leaves.")
            )
            return
        self.photo.show(self._rendition(one), boxes=self.session.boxes)
        self.query_one("#head", Static).update(Text(self._head(one), no_wrap=True, overflow="ellipsis"))
        self.query_one("#question", Static).update(self._question(one))

    def _rendition(self, one: Question) -> Any:
        from triage.imaging.kept import rendition_of

        try:
            return rendition_of(self.session.library, one.photo.sha)
        except TriageError as error:
            self.query_one("#said", Static).update(Text(str(error)))
            return None

    def _head(self, one: Question) -> str:
        pace = self.session.pace()
        speed = f"  {pace:.0f} a minute" if pace else ""
        count = f"{self.session.done} of {len(self.session.asked)} answered"
        return f"{count}{speed}   {_plain(one.photo.path_name)}"

    def _question(self, one: Question) -> Text:
        text = Text()
        text.append(one.tag + "?\n", style="bold")
        mine = self.session.answered.get((one.photo.sha, one.tag))
        if mine:
            text.append(f"you said: {mine}\n")
        if self.session.boxes:
            text.append(f"marked: {len(self.session.boxes)} place(s)\n")
        if one.photo.burst is not None:
            text.append("one of a burst: look at each\n")
        flags = [flag for flag in QUALITY_FLAGS if one.photo.quality.get(flag)]
        if flags:
            text.append(f"photo is {', '.join(flags)}\n")
        if one.photo.taken_at:
            text.append(f"{one.photo.taken_at[:16].replace('T', ' ')}\n")
        return text

    # ---- answers --------------------------------------------------------------------------------------

    def _do(self, act: Any) -> None:
        """Do something that may be refused, and say what happened."""
        try:
            said = act()
        except TriageError as error:
            said = f"{error} {error.hint}".strip()
        self.show(said or "")

    def action_answer(self, value: str) -> None:
        """Answer the question."""
        self._do(lambda: self.session.answer(value))

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
            if line:
                self._do(lambda: act(line))

        self.push_screen(QuestionDialog(words), done)

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
            self.push_screen(MessageDialog("\n\n".join(parts)))

    def action_like(self) -> None:
        """Offer the nearest photos for the same answer."""
        from triage.terminal.look_alikes import LookAlikes

        if self.session.question is None:
            return
        try:
            near = self.session.look_alikes()
        except TriageError as error:
            self.show(str(error))
            return

        def done(choice: tuple[str, list[Any]] | None) -> None:
            if choice is not None:
                value, photos = choice
                self._do(lambda: f"{value}: {self.session.spread(value, photos)} photos")

        self.push_screen(LookAlikes(self.session, near, self._colour), done)

    # ---- looking -----------------------------------------------------------------------------------------

    def action_zoom(self, factor: float) -> None:
        """Zoom in or out."""
        self.photo.zoom(factor)

    def action_pan(self, right: float, down: float) -> None:
        """Move over the photo."""
        self.photo.pan(right, down)

    def action_whole(self) -> None:
        """Show the whole photo."""
        self.photo.whole()

    def action_grid(self) -> None:
        """Show or hide the grid's letters and numbers."""
        self.photo.grid = not self.photo.grid
        self.photo.redraw()

    def action_help(self) -> None:
        """Show the keys."""
        self.push_screen(MessageDialog(HELP))


def _plain(text: str) -> str:
    return "".join(char for char in text if char.isprintable())


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
) -> int:
    """Open the screen; returns 0 when it was left. Raises BadInput when there is nothing to ask."""
    from triage.errors import BadInput
    from triage.label.order import questions

    asked = questions(library, by=by, deck=deck, tags=tags, order=order, like=like, second_look=second_look)
    if not asked:
        raise BadInput(
            f"{by} has answered everything that would be asked.",
            "Choose other tags with --tag, or another deck.",
        )
    return ask_these(library, by, asked, pixels)


def ask_these(library: Library, by: str, asked: list[Question], pixels: str = "auto") -> int:
    """Open the screen on given questions; returns 0 when it was left. Raises BadInput without a terminal.

    `pixels` is how photos are drawn: one of `triage.terminal.pixels.WAYS`.
    """
    import sys

    from triage.errors import BadInput

    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise BadInput("The labelling screen needs a terminal.", "Use label set or label read in scripts.")
    AskApp(Session(library, by, asked), way_of(pixels)).run()
    return 0
