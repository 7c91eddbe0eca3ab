"""Draw this week's map: set snoutline up if needed, then run `snoutline weekly`.

Needs Python 3.11 or newer and nothing else. Arguments are those of `snoutline weekly`; without
any it maps the demo site.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from scripts.environment import become, prepared

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "data" / "demo" / "site"


def main() -> None:
    """Prepare the environment and hand over to it."""
    environment = prepared(ROOT, "run")
    become([str(environment.command), "weekly", *(sys.argv[1:] or [str(DEMO)])])


if __name__ == "__main__":
    main()
