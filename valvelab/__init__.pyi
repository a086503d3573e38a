from valvelab.face import compare as compare
from valvelab.face import gauge as gauge
from valvelab.face import lash as lash
from valvelab.face import liftcheck as liftcheck
from valvelab.face import lobes as lobes
from valvelab.face import motion as motion
from valvelab.face import phasing as phasing
from valvelab.face import sets as sets
from valvelab.face import shaft as shaft
from valvelab.face import shims as shims
from valvelab.face import springs as springs
from valvelab.face import texture as texture

FUNCTIONS: tuple[str, ...]
__version__: str
