"""The small windows over the labeling screen: a line to type into, words to read."""

from __future__ import annotations

from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static


class QuestionDialog(ModalScreen[str | None]):
    """One line to type into."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave", "back")]

    def __init__(self, words: str) -> None:
        super().__init__()
        self._words = words

    def compose(self) -> ComposeResult:
        """Show the words and the line."""
        with Vertical(id="asking"):
            yield Static(Text(self._words))
            yield Input(id="line")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Hand back what was typed."""
        self.dismiss(event.value)

    def action_leave(self) -> None:
        """Go back without a word."""
        self.dismiss(None)


class MessageDialog(ModalScreen[None]):
    """Words to read; any key goes back."""

    def __init__(self, words: str) -> None:
        super().__init__()
        self._words = words

    def compose(self) -> ComposeResult:
        """Show the words."""
        yield Static(Text(self._words), id="telling")

    def on_key(self) -> None:
        """Go back."""
        self.dismiss(None)
