"""The one error of the generator: a clear sentence and, where it helps, what to do next."""


class RenderError(Exception):
    """Something the person who runs the tool can put right; `hint` says how."""

    def __init__(self, message: str, hint: str = "") -> None:
        """Keep the sentence and the hint."""
        super().__init__(message)
        self.hint = hint
