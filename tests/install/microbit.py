"""The arithmetic core on a Cortex-M0: Debian's MicroPython for the micro:bit, in QEMU.

Ten kilobytes of heap and the dialect of 2017: statement by statement, folded, no imports.
"""

import ast
import subprocess
import time
from pathlib import Path

from emberbed.firmware_sources import Sources
from emberbed.install.folding import fold

FIRMWARE = Path("/usr/share/firmware-microbit-micropython/firmware.hex")
# each sum on a machine of its own: one does not hold both
CORES = {
    "couple_sum": ("integer_math.py", "type_k.py", "self_sums.py"),
    "control_sum": ("integer_math.py", "pid.py", "self_sums.py"),
}
READY = b"raw REPL; CTRL-B to exit\r\n>"
CHUNK_BYTES, CHUNK_S = 8, 0.003  # its serial buffer holds 64, and a burst may overrun it
MOST_SENDS = 5  # of a statement that arrived with a byte missing: the line has no acknowledgement
ANSWER_S = 60.0
END = b"\x04"


class Microbit:
    """A started machine; use it in a `with`."""

    def __init__(self, qemu: str) -> None:
        self._command = [
            qemu, "-M", "microbit", "-nographic", "-monitor", "none", "-serial", "stdio",
            "-device", f"loader,file={FIRMWARE}",
        ]  # fmt: skip

    def __enter__(self) -> "Microbit":
        self._process = subprocess.Popen(
            self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0
        )
        assert self._process.stdin and self._process.stdout
        self._until(b">>> ")
        self._process.stdin.write(b"\x01")
        self._until(READY)
        return self

    def __exit__(self, *_error: object) -> None:
        self._process.kill()
        self._process.communicate()

    def run(self, statement: str) -> str:
        """Run a statement and return what it printed; AssertionError for an exception there."""
        for _send in range(MOST_SENDS):
            said, wrong = self._send(statement)
            if "SyntaxError" not in wrong and "NameError" not in wrong:
                break
        assert not wrong, f"{wrong} in {statement[:200]}"
        return said

    def _send(self, statement: str) -> tuple[str, str]:
        """Send it once; return what it printed, and its traceback."""
        assert self._process.stdin
        octets = statement.encode() + END
        for at in range(0, len(octets), CHUNK_BYTES):
            self._process.stdin.write(octets[at : at + CHUNK_BYTES])
            time.sleep(CHUNK_S)
        self._until(b"OK")
        said = self._until(END).decode().strip()
        wrong = self._until(END).decode().strip()
        self._until(b">")
        return said, wrong

    def _until(self, ending: bytes) -> bytes:
        assert self._process.stdout
        heard = b""
        end_s = time.monotonic() + ANSWER_S
        while not heard.endswith(ending):
            octet = self._process.stdout.read(1)
            assert octet and time.monotonic() < end_s, heard[-300:]
            heard += octet
        return heard.removesuffix(ending)


def core_statements(sources: Sources, names: tuple[str, ...]) -> list[str]:
    """Return these modules as statements in the order in which they can run, in one namespace;
    the methods of a class one by one."""
    folded = fold(sources)
    statements = []
    for name in names:
        for node in ast.parse(folded[name]).body:
            is_text = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
            if is_text or isinstance(node, (ast.Import, ast.ImportFrom)):
                continue
            if isinstance(node, ast.ClassDef):
                statements.append(f"class {node.name}:\n    pass")
                for part in node.body:
                    if isinstance(part, ast.FunctionDef):
                        statements.append(ast.unparse(_without_docstrings(part)))
                        statements.append(f"{node.name}.{part.name} = {part.name}")
            else:
                statements.append(ast.unparse(_without_docstrings(node)))
    return statements


def _without_docstrings(node: ast.stmt) -> ast.stmt:
    for part in ast.walk(node):
        if isinstance(part, (ast.FunctionDef, ast.ClassDef)) and ast.get_docstring(part):
            part.body = part.body[1:] or [ast.Pass()]
    return node
