from .piles import Standing as Standing
from .piles import pile as pile
from .suggesting import standing_of as standing_of
from .suggesting import suggest as suggest
