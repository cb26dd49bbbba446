"""Write package.json, by which MicroPython's package tool installs the firmware's sources by hand.

python -m tests.install.package_json
"""

import json

from emberbed import __version__
from emberbed.firmware_sources import PACKAGE, firmware_folder, read_sources
from emberbed.install.version import belongs
from tests.support.parts import PROJECT

PACKAGE_JSON = PROJECT / "package.json"


def package_json() -> str:
    """Return its text: every source that any board may run, and where it goes below /lib."""
    names = [name for name in sorted(read_sources(firmware_folder())) if belongs(name, "")]
    urls = [[f"{PACKAGE}/{name}", f"firmware_py/{PACKAGE}/{name}"] for name in names]
    rows = ",\n".join(f"  {json.dumps(row)}" for row in urls)
    return f'{{\n "version": "{__version__}",\n "deps": [],\n "urls": [\n{rows}\n ]\n}}\n'


if __name__ == "__main__":
    PACKAGE_JSON.write_text(package_json(), encoding="utf-8")
