from .agreeing import agree as agree
from .doubting import doubts as doubts
from .of_library import missed as missed
from .sampling import sample as sample
