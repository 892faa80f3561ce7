from .export import export_library as export_library
from .merge import MergeResult as MergeResult
from .merge import merge_libraries as merge_libraries
from .reading import read_labels_file as read_labels_file
