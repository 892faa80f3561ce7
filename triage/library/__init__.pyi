from .library import Library as Library
from .log import Event as Event
from .log import EventDraft as EventDraft
