"""More like this: the nearest photos as small pictures, chosen one by one for the same answer."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.screen import ModalScreen
from textual.widgets import SelectionList, Static

from triage.errors import TriageError
from triage.imaging.kept import rendition_of
from triage.terminal.photo_widget import PhotoWidget

if TYPE_CHECKING:
    from triage.library.records import Photo
    from triage.terminal.session import Session

Choice = tuple[str, "list[Photo]"]


class LookAlikes(ModalScreen["Choice | None"]):
    """A list of photos beside the one under the cursor; space chooses, p or a answers the chosen ones."""

    CSS = """
    LookAlikes { layout: vertical; background: $background; }
    #why { height: 2; }
    SelectionList { width: 38; height: 1fr; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("p", "answer('present')", "present"),
        Binding("a", "answer('absent')", "absent"),
        Binding("escape", "leave", "back"),
    ]

    def __init__(self, session: Session, photos: list[Photo], color: bool) -> None:
        super().__init__()
        self._session, self._photos, self._color = session, photos, color

    def compose(self) -> ComposeResult:
        """Show the list and the photo under its cursor."""
        one = self._session.question
        tag = one.tag if one else ""
        absent = "  a absent" if self._session.may_spread("absent") else ""
        yield Static(
            Text(f"{tag}: the nearest photos. Space chooses, p present{absent}, Escape back."),
            id="why",
        )
        with Horizontal():
            yield SelectionList(
                *[(Text(photo.path_name), index) for index, photo in enumerate(self._photos)], id="list"
            )
            yield PhotoWidget(color=self._color)

    def on_selection_list_selection_highlighted(self, event: SelectionList.SelectionHighlighted[int]) -> None:
        """Draw the photo under the cursor."""
        photo = self._photos[int(event.selection.value)]
        draw_first = getattr(self.app, "draw_first", None)
        if draw_first is not None:
            draw_first()
        try:
            self.query_one(PhotoWidget).show(rendition_of(self._session.library, photo.sha))
        except TriageError:
            self.query_one(PhotoWidget).show(None)

    def action_answer(self, value: str) -> None:
        """Hand the answer and the chosen photos back, where it may be spread."""
        if not self._session.may_spread(value):
            self.query_one("#why", Static).update(
                Text("absent is not spread: near-identical photos may show different places. Escape back.")
            )
            return
        chosen = self.query_one(SelectionList).selected
        self.dismiss((value, [self._photos[int(index)] for index in chosen]))

    def action_leave(self) -> None:
        """Go back without an answer."""
        self.dismiss(None)
