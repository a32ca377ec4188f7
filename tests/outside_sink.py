"""A sink for whatever a program sends to other machines: nothing leaves, and every attempt is written down.

``environment`` gives a child process, from its first import on, sockets that refuse every address but this machine's.
"""

from __future__ import annotations

import os
from pathlib import Path

from tests.conftest import ROOT

CUSTOMIZE = """
import socket, sys

def note(what, address):
    with open({log!r}, "a", encoding="utf-8") as log:
        log.write(f"{{what}} {{address!r}}\\n")

def is_own(address):
    host = address[0] if isinstance(address, tuple) else address
    if isinstance(host, bytes):
        host = host.decode()
    return host in (None, "", "localhost", "::1") or str(host).startswith(("127.", "/"))

def guard(owner, name, of):
    known = getattr(owner, name)
    def guarded(*given, **named):
        address = of(given)
        if not is_own(address):
            note(name, address)
            raise OSError("nothing goes outside in this test")
        return known(*given, **named)
    return guarded

class Socket(socket.socket):
    def connect(self, address):
        if self.family != getattr(socket, "AF_UNIX", None) and not is_own(address):
            note("connect", address)
            raise OSError("nothing goes outside in this test")
        return super().connect(address)
    def connect_ex(self, address):
        self.connect(address)
        return 0
    def sendto(self, content, *rest):
        if not is_own(rest[-1]):
            note("sendto", rest[-1])
            raise OSError("nothing goes outside in this test")
        return super().sendto(content, *rest)

socket.socket = Socket
for name in ("getaddrinfo", "gethostbyname", "gethostbyname_ex"):
    setattr(socket, name, guard(socket, name, lambda given: given[0]))
"""


def environment(place: Path) -> tuple[dict[str, str], Path]:
    """The environment of a child that goes nowhere, and the file of its attempts (which is there once it tried)."""
    place.mkdir(parents=True, exist_ok=True)
    log = place / "attempts.txt"
    (place / "sitecustomize.py").write_text(CUSTOMIZE.format(log=str(log)), encoding="utf-8")
    path = os.pathsep.join([str(place), str(ROOT), os.environ.get("PYTHONPATH", "")])
    proxies = dict.fromkeys(("http_proxy", "https_proxy", "HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY", "all_proxy"), "")
    return {**os.environ, **proxies, "PYTHONPATH": path}, log
