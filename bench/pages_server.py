"""A server of a project in a process of its own, as the benchmarks of the pages need it."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx2

OBSERVER = "Bench"
Person = tuple[httpx2.Client, dict[str, str]]
"""A signed-in client, and the headers that changes need."""


class Server:
    """`dryslate serve`, started when it is made."""

    def __init__(self, project: Path) -> None:
        with socket.socket() as chosen:
            chosen.bind(("127.0.0.1", 0))
            port = str(chosen.getsockname()[1])
        words = [sys.executable, "-m", "dryslate.cli.main", "serve", str(project), "--port", port]
        began = time.perf_counter()
        self.process = subprocess.Popen(
            words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        while line and not line.startswith("Open: "):
            line = self.process.stdout.readline()
        self.address = line.removeprefix("Open: ").strip()
        self.base = self.address.split("/?")[0]
        with httpx2.Client(follow_redirects=True, timeout=60.0) as client:
            client.get(self.address).raise_for_status()
        self.start_s = time.perf_counter() - began
        """Seconds from the command to the whole first page."""

    def kill(self) -> None:
        """Pull the plug."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()

    def person(self, name: str = OBSERVER) -> Person:
        """Sign somebody in."""
        client = httpx2.Client(base_url=self.base, follow_redirects=True, timeout=60.0)
        html = client.get(self.address).text
        found = re.search(r'<meta name="token" content="([^"]+)"', html)
        assert found
        headers = {"x-dryslate-token": found[1], "origin": self.base}
        client.post("/people/new", data={"observer": name}, headers=headers)
        return client, headers

    def talks_to(self) -> set[str]:
        """Other machines that the process is connected to at this moment (Linux)."""
        own = set()
        for link in Path(f"/proc/{self.process.pid}/fd").iterdir():
            try:
                own.add(link.readlink().name)
            except OSError:
                continue  # closed meanwhile
        found = set()
        for table in ("tcp", "tcp6", "udp", "udp6"):
            for line in Path(f"/proc/net/{table}").read_text("ascii").splitlines()[1:]:
                parts = line.split()
                address, inode = parts[2].split(":")[0], parts[9]
                is_here = address.strip("0") == "" or address.endswith(("0100007F", "01000000"))
                if f"socket:[{inode}]" in own and not is_here:
                    found.add(address)
        return found
