"""A real JupyterLab for the tests, on a folder of its own, that reaches no other machine."""

from __future__ import annotations

import json
import secrets
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wrapcalc.package.starters import lab_command, lab_environment, write_lab

#: Seconds until the server must answer.
START = 120

#: Put before the server and its kernels: whoever reaches for another machine is refused and written down.
FENCE = '''
import ipaddress, os, socket, sys

def _outside(host):
    host = host.decode(errors="replace") if isinstance(host, bytes) else host
    if not isinstance(host, str) or host in ("", "localhost", "0.0.0.0", "::", socket.gethostname()):
        return False
    try:
        return not ipaddress.ip_address(host.partition("%")[0]).is_loopback
    except ValueError:
        return True

def _fence(event, args):
    if event in ("socket.connect", "socket.sendto", "socket.sendmsg"):
        host = args[1][0] if len(args) > 1 and isinstance(args[1], tuple) and args[1] else None
    elif event in ("socket.getaddrinfo", "socket.gethostbyname"):
        host = args[0]
    else:
        return
    if _outside(host):
        with open(os.environ["WRAPCALC_TEST_FENCE"], "a", encoding="utf-8") as f:
            f.write(f"{event} {host!r} by {sys.argv[:2]}\\n")
        raise PermissionError(f"this run is offline: {host!r}")

sys.addaudithook(_fence)
'''


@dataclass(frozen=True)
class Lab:
    """A JupyterLab that is running."""

    url: str
    token: str
    folder: Path
    log: Path
    fence: Path
    env: dict[str, str] = field(repr=False)

    def get(self, path: str, method: str = "GET") -> Any:
        """What the REST interface of the server answers."""
        request = urllib.request.Request(f"{self.url}/{path}", method=method,
                                         headers={"Authorization": f"token {self.token}"})
        with urllib.request.urlopen(request, timeout=START) as answer:
            return json.loads(answer.read() or b"null")

    def wrapcalc(self, *words: str, status: int | None = 0) -> str:
        """Run the tool in the folder of the lab and return what it said; status None: whatever it ends with."""
        done = subprocess.run([sys.executable, "-m", "wrapcalc", *words], cwd=self.folder, capture_output=True,
                              text=True, encoding="utf-8")
        said = done.stdout + done.stderr
        assert status is None or done.returncode == status, said
        return said

    def stop_kernels(self) -> None:
        """End every kernel, so that none is left over for the next test."""
        for session in self.get("api/sessions"):
            self.get(f"api/sessions/{session['id']}", "DELETE")


@contextmanager
def running_lab(root: Path) -> Iterator[Lab]:
    """A JupyterLab on a folder below root, written and started as `wrapcalc lab` does; ended afterwards."""
    folder, fence = root / "lab", root / "fence"
    fence.mkdir()
    (fence / "sitecustomize.py").write_text(FENCE, encoding="utf-8")
    write_lab(folder)
    for attempt in range(3):  # somebody else may take the port between asking and using
        lab = _lab(root, attempt)
        process = _start(lab, root / f"settings-{attempt}")
        try:
            if _answers(lab, process):
                yield lab
                return
        finally:
            _end(process)
    raise AssertionError(f"JupyterLab did not start:\n{lab.log.read_text(encoding='utf-8')[-3000:]}")


def _lab(root: Path, attempt: int) -> Lab:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = s.getsockname()[1]
    own = {name: str(root / name.lower()) for name in (
        "JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "JUPYTERLAB_SETTINGS_DIR",
        "JUPYTERLAB_WORKSPACES_DIR", "IPYTHONDIR")}
    env = lab_environment() | own | {
        "JUPYTER_TOKEN": secrets.token_hex(16), "PYTHONPATH": str(root / "fence"),
        "WRAPCALC_TEST_FENCE": str(root / "left-the-machine.txt")}
    return Lab(f"http://127.0.0.1:{port}", env["JUPYTER_TOKEN"], root / "lab", root / f"lab-{attempt}.log",
               root / "left-the-machine.txt", env)


def _start(lab: Lab, settings: Path) -> subprocess.Popen[bytes]:
    settings.mkdir()
    command = lab_command(lab.folder, settings, no_browser=True, port=int(lab.url.rpartition(":")[2]))
    # The page tells the tests when it is idle; and a server whose tests were killed ends by itself.
    command += ["--LabApp.expose_app_in_browser=True", "--ServerApp.shutdown_no_activity_timeout=900"]
    with lab.log.open("wb") as log:
        return subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=subprocess.STDOUT, env=lab.env,
                                cwd=lab.folder)


def _answers(lab: Lab, process: subprocess.Popen[bytes]) -> bool:
    end = time.monotonic() + START
    while time.monotonic() < end and process.poll() is None:
        try:
            lab.get("api/status")
            return True
        except OSError:
            time.sleep(0.1)
    return False


def _end(process: subprocess.Popen[bytes]) -> None:
    if process.poll() is None:
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(30)
        except subprocess.TimeoutExpired:
            process.kill()
    process.wait()
