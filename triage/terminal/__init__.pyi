from .ask import ask_in_terminal as ask_in_terminal
from .ask import ask_these as ask_these
