from .batch import embed_many as embed_many
from .embedder import Embedder as Embedder
from .models import models_dir as models_dir
from .recipe import default_recipe as default_recipe
from .recipe import make_recipe as make_recipe
from .store import VectorStore as VectorStore
from .vectors import PhotoVectors as PhotoVectors
from .vectors import Recipe as Recipe
