"""Set Emberbed up in a virtual environment of its own, once, and run one command in it.

    python3 host/start.py COMMAND ...      the `emberbed` command, all words passed on
    python3 host/start.py test ...         the tests, all words passed on to pytest; without any
                                           word, all tests on all cores

Needs nothing but Python. The environment is `.venv` in this checkout, or where EMBERBED_VENV says;
it is brought up to date when pyproject.toml changed. Exit code: that of the command, or 2 when
setting up failed. Written so that a Python too old for Emberbed still reads it and says so.
"""

import hashlib
import os
import signal
import subprocess
import sys

LEAST_PYTHON = (3, 11)
VENV_VARIABLE = "EMBERBED_VENV"
CHECKOUT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
STAMP = "emberbed-setup.txt"  # what was installed, in the environment's folder
FAILED = 2
# a file's tests share what they set up; the files in the order of tests/conftest.py
WORKERS = max(4, os.cpu_count() or 1)  # many tests wait for a device's own clock
ALL_CORES = ["-n", str(WORKERS), "--dist", "loadfile", "--no-loadscope-reorder"]
WINDOWS = sys.platform == "win32"


class CannotStart(Exception):
    """One sentence for the person at the keyboard."""


def main(words):
    # type: (list[str]) -> int
    """Set up what is missing, then run `words`; return the exit code."""
    try:
        check_python()
        wants_tests = words[:1] == ["test"]
        folder = environment_folder()
        set_up(folder, "test" if wants_tests else "")
    except CannotStart as reason:
        say(str(reason))
        return FAILED
    except KeyboardInterrupt:
        say("Emberbed: stopped while setting up; start again to go on.")
        return FAILED
    if wants_tests:
        return run([python_of(folder), "-m", "pytest"] + (words[1:] or ALL_CORES), CHECKOUT)
    return run([script_of(folder, "emberbed")] + words, None)


def say(sentence):
    # type: (str) -> None
    sys.stderr.write(sentence + "\n")
    sys.stderr.flush()


def check_python():
    # type: () -> None
    if sys.version_info[:2] < LEAST_PYTHON:
        raise CannotStart(
            "Emberbed needs Python %d.%d or newer and this is Python %d.%d: install a newer one,"
            " then start this file with it." % (LEAST_PYTHON + tuple(sys.version_info[:2]))
        )


def environment_folder():
    # type: () -> str
    """Return where the environment is or will be; never a folder that holds something else."""
    folder = os.path.abspath(os.environ.get(VENV_VARIABLE) or os.path.join(CHECKOUT, ".venv"))
    is_environment = os.path.exists(os.path.join(folder, "pyvenv.cfg"))
    if os.path.exists(folder) and not is_environment and not is_empty_folder(folder):
        raise CannotStart(
            "%s is there already and is no virtual environment: name an empty folder in %s."
            % (folder, VENV_VARIABLE)
        )
    return folder


def is_empty_folder(path):
    # type: (str) -> bool
    return os.path.isdir(path) and not os.listdir(path)


def set_up(folder, extra):
    # type: (str, str) -> None
    """Make the environment and install Emberbed into it, unless the stamp says that it is done."""
    installed = read_stamp(folder)
    fingerprint = wanted_fingerprint()
    if installed[:1] == [fingerprint] and (not extra or extra in installed) and is_ready(folder):
        return
    say("Emberbed: setting up in %s, once; this takes a minute or two ..." % folder)
    make_environment(folder)
    extras = sorted(set(installed[1:] + [extra]) - set([""]))
    install(folder, extras)
    with open(os.path.join(folder, STAMP), "w") as stamp:
        stamp.write("\n".join([fingerprint] + extras) + "\n")
    say("Emberbed: set up.")


def read_stamp(folder):
    # type: (str) -> list[str]
    """Return fingerprint and extras of what was installed, [] for nothing."""
    try:
        with open(os.path.join(folder, STAMP)) as stamp:
            return stamp.read().split()
    except (OSError, UnicodeError):
        return []


def wanted_fingerprint():
    # type: () -> str
    """Return what an installation depends on: the project file and the place of the checkout."""
    with open(os.path.join(CHECKOUT, "pyproject.toml"), "rb") as project:
        digest = hashlib.sha256(project.read())
    digest.update(CHECKOUT.encode("utf-8"))
    return digest.hexdigest()


def is_ready(folder):
    # type: (str) -> bool
    """Tell whether the command is there and its Python, which may have been updated, knows it."""
    return os.path.exists(script_of(folder, "emberbed")) and can_import(folder, "emberbed")


def can_import(folder, module):
    # type: (str, str) -> bool
    try:
        with open(os.devnull, "w") as nowhere:
            command = [python_of(folder), "-I", "-c", "import " + module]
            return subprocess.call(command, stdout=nowhere, stderr=nowhere) == 0
    except OSError:
        return False


def make_environment(folder):
    # type: (str) -> None
    if not can_make_environments():
        raise CannotStart(venv_missing())
    command = [sys.executable, "-m", "venv", folder]
    if os.path.exists(folder) and not can_import(folder, "pip"):
        command.append("--clear")  # an environment that an interruption or an update broke
    if subprocess.call(command) != 0:
        raise CannotStart("No virtual environment could be made in %s: see above." % folder)


def can_make_environments():
    # type: () -> bool
    try:
        import ensurepip  # noqa: F401  (Debian ships venv without it)
        import venv  # noqa: F401
    except ImportError:
        return False
    return True


def venv_missing():
    # type: () -> str
    """Return the sentence for a Python that cannot make environments."""
    if os.path.exists("/usr/bin/apt"):
        package = "python%d.%d-venv" % tuple(sys.version_info[:2])
        return (
            "This Python cannot make virtual environments. Install what is missing with\n"
            "    sudo apt install -y %s\nand start again." % package
        )
    return (
        "This Python cannot make virtual environments (its modules venv and ensurepip are missing):"
        " install them with your system's package manager, then start again."
    )


def install(folder, extras):
    # type: (str, list[str]) -> None
    """Install this checkout as editable, with `extras`."""
    what = "." + ("[%s]" % ",".join(extras) if extras else "")
    pip = [python_of(folder), "-m", "pip", "--disable-pip-version-check", "--no-input"]
    if subprocess.call(pip + ["install", "--quiet", "-e", what], cwd=CHECKOUT) != 0:
        raise CannotStart(
            "Installing failed, see pip's reason above. It needs the internet once; start again"
            " when that is mended."
        )


def python_of(folder):
    # type: (str) -> str
    return script_of(folder, "python")


def script_of(folder, name):
    # type: (str, str) -> str
    if WINDOWS:
        return os.path.join(folder, "Scripts", name + ".exe")
    return os.path.join(folder, "bin", name)


def run(command, folder):
    # type: (list[str], str | None) -> int
    """Run `command` in `folder` (None: here) and return its exit code."""
    if not WINDOWS:
        if folder:
            os.chdir(folder)
        os.execv(command[0], command)  # this process becomes the command: Ctrl-C is the command's
    process = subprocess.Popen(command, cwd=folder)
    signal.signal(signal.SIGINT, lambda _number, _frame: None)  # the command gets it too
    return process.wait()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
