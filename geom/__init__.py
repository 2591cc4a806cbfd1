"""Current, time and placing for electroplating a part, from its geometry and a solve of the field."""

import os

__version__ = "0.1.0"

# Compiled loops share out their work by numba's own queue unless the user asks otherwise: the threads of OpenMP wait
# in a busy loop, which makes a solve several times slower whenever other programs run on the machine.
os.environ.setdefault("NUMBA_THREADING_LAYER", "workqueue")
