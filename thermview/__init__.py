"""Thermal video for people who repair boards: which part dissipates, how much, how sure."""

import os

__version__ = "0.1.0"

# A silent camera then holds a read for one second, not ten. OpenCV looks at this only while it is
# loaded, so it stands before anything of ours can load it.
os.environ.setdefault("OPENCV_VIDEOIO_V4L_SELECT_TIMEOUT", "1")

# Its products are small and many: threads of the linear algebra library wait for each other longer
# than they work, most of all beside the window's own. Read likewise only at loading.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
