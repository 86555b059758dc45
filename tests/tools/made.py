"""Makes anew all that is made from the code: `python -m tests.tools.made`."""

import subprocess
import sys

for name in ("drawings", "house", "hazards", "startstop", "shell", "printed"):
    subprocess.run([sys.executable, "-m", f"tests.tools.{name}"], check=True)
