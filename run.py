#!/usr/bin/env python3
"""Set Tubwater up and run it, with nothing but Python 3.11 or newer.

    python3 run.py                  set up, then the pages on this computer, in the browser
    python3 run.py --demo           the same with an invented scenario and half a year of history
    python3 run.py demo             set up, then a plan for an invented tub
    python3 run.py check            set up, then every check: format, lint, types, layers, documents, tests
    python3 run.py setup            set up only (--dev: with the tools of the checks)
    python3 run.py bench [NAME]     set up, then the benchmarks (or one of them)
    python3 run.py docs [FOLDER]    set up, then the reference, built from data and code into build/reference
    python3 run.py test [ARGS]      set up, then pytest on the sources, with pytest's own arguments
    python3 run.py ANYTHING ...     set up, then `tubwater ANYTHING ...` (after `--` even a word from above)

Everything installed lands in .venv and .venv-dev beside this file, from the hashed lock files; nothing else is touched.
"""

import glob
import hashlib
import importlib.util
import os
import pathlib
import shutil
import subprocess
import sys

__all__ = ["COMMANDS", "Refusal", "main"]

HERE = pathlib.Path(__file__).resolve().parent
OLDEST = (3, 11)
COMMANDS = ("setup", "check", "bench", "docs", "test")
RUNTIME_LOCK = HERE / "requirements.lock"
DEV_LOCK = HERE / "requirements-dev.lock"


class Refusal(Exception):
    """Something that the person at the keyboard has to settle, said in one sentence."""


def say(text):
    """Prints at once, so that it stands in order with what the tools print."""
    print(text, flush=True)


def main(arguments):
    """Does what the command line asks and returns the exit code."""
    if arguments and arguments[0] in ("-h", "--help"):
        say(__doc__.strip())
        return 0
    if not arguments or (arguments[0].startswith("--") and arguments[0] != "--"):
        arguments = ["serve", *arguments]
    word, rest = arguments[0], arguments[1:]
    if word == "setup":
        return setup(rest)
    if word == "check":
        return check(rest)
    if word == "bench":
        return run([development_python(), HERE / "bench" / "run.py", *rest], on_sources())
    if word == "docs":
        return run([development_python(), HERE / "tools" / "make_docs.py", *rest], on_sources())
    if word == "test":
        return run([development_python(), "-m", "pytest", *rest], on_sources())
    return run([runtime_python(), "-m", "tubwater", *(rest if word == "--" else arguments)], clean_environment())


def setup(options):
    """Makes the environment ready and says where it is."""
    if options not in ([], ["--dev"]):
        raise Refusal("`python3 run.py setup` takes nothing or --dev, not: " + " ".join(options))
    python = development_python() if options else runtime_python()
    say(f"Ready: {python.parent.parent}")
    return 0


def check(options):
    """Runs every check with the development tools."""
    if options:
        raise Refusal("`python3 run.py check` takes nothing, not: " + " ".join(options))
    ensure_test_programs()
    return run([development_python(), HERE / "tools" / "check.py"], clean_environment())


def run(command, environment):
    """Runs a command in the caller's folder and hands its exit code on."""
    try:
        return subprocess.run([str(part) for part in command], env=environment, check=False).returncode
    except KeyboardInterrupt:
        return 130


def clean_environment(**more):
    """The environment without what would let a stray Python path in."""
    kept = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV")}
    kept.update(more)
    return kept


def on_sources():
    """An environment in which `tubwater` is the source folder."""
    return clean_environment(PYTHONPATH=str(HERE / "src"))


# Set-up


def runtime_python():
    """The interpreter of .venv, which holds what Tubwater itself needs, and the sources."""
    return environment(HERE / ".venv", RUNTIME_LOCK, sources=True)


def development_python():
    """The interpreter of .venv-dev, which holds the tools of the checks as well, but not Tubwater."""
    return environment(HERE / ".venv-dev", DEV_LOCK)


def environment(folder, lock, sources=False):
    """Builds an environment from its lock, unless it stands as the lock wants it; returns its interpreter."""
    python, stamp = interpreter(folder), folder / "tubwater.stamp"
    want = hashlib.sha256(lock.read_bytes() + str(folder).encode() + sys.version.encode()).hexdigest()
    if python.exists() and stamp.exists() and stamp.read_text() == want:
        return python
    say(f"Setting up {folder.name} (once; a minute or so) ...")
    create(folder)
    install(python, "--require-hashes", "-r", lock)
    if sources:
        (packages_folder(python) / "tubwater-sources.pth").write_text(str(HERE / "src") + "\n", encoding="utf-8")
    stamp.write_text(want)
    return python


def interpreter(folder):
    """Where an environment keeps its Python."""
    return folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def packages_folder(python):
    """Where an environment keeps its packages."""
    ask = "import sysconfig; print(sysconfig.get_path('purelib'))"
    return pathlib.Path(subprocess.check_output([str(python), "-c", ask], text=True, env=clean_environment()).strip())


def create(folder):
    """Makes an empty environment with pip in it."""
    ensure_venv()
    made = subprocess.run([sys.executable, "-m", "venv", "--clear", str(folder)], check=False, env=clean_environment())
    if made.returncode:
        raise Refusal(
            f"Python at {sys.executable} could not make an environment in {folder}; its own words stand above."
        )


def install(python, *what):
    """Installs into an environment, quietly."""
    pip = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-input"]
    if subprocess.run(pip + [str(part) for part in what], check=False, env=clean_environment()).returncode:
        raise Refusal("The packages could not be installed; pip's own words stand above. Is there a network?")


def ensure_venv():
    """Sees to it that this Python can make environments; Debian packs that part apart."""
    if importlib.util.find_spec("ensurepip") is not None:
        return
    package = "python{}.{}-venv".format(*sys.version_info[:2])
    if not debian_python():
        raise Refusal(f"Python at {sys.executable} lacks the module ensurepip, so it cannot make an environment.")
    if os.geteuid() != 0:
        raise Refusal(f"This Python cannot make environments yet: please run `sudo apt-get install {package}` first.")
    say(f"Installing {package}, which this Python needs to make environments ...")
    install_debian_package(package)
    importlib.invalidate_caches()
    if importlib.util.find_spec("ensurepip") is None:
        raise Refusal(f"{package} could not be installed; apt-get's own words stand above.")


def ensure_test_programs():
    """Installs the database server and the browser of the tests, where that can be done; elsewhere those tests tell."""
    if shutil.which("apt-get") is None or os.geteuid() != 0:
        return
    there = {"postgresql": glob.glob("/usr/lib/postgresql/*/bin/initdb"), "chromium": shutil.which("chromium")}
    for package in (name for name, found in there.items() if not found):
        say(f"Installing {package}, which the tests start for themselves ...")
        install_debian_package(package)


def debian_python():
    """Whether this is the Python that Debian's package tool looks after."""
    return os.path.realpath(sys.executable).startswith("/usr/bin/") and shutil.which("apt-get") is not None


def install_debian_package(package):
    """Installs one package; the lists are fetched first, because a fresh machine has none."""
    quiet = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
    for command in (["update"], ["install", "-y", "--no-install-recommends", package]):
        line = ["apt-get", "-qq", *command]
        subprocess.run(line, check=False, env=quiet, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)


if __name__ == "__main__":
    if sys.version_info[:2] < OLDEST:
        sys.exit("Tubwater needs Python 3.11 or newer; this is Python {}.{}.".format(*sys.version_info[:2]))
    try:
        sys.exit(main(sys.argv[1:]))
    except Refusal as refusal:
        sys.exit(str(refusal))
