"""The service on this machine: a check over HTTP beside a bare endpoint of the same body sizes.

``python tests/benchmarks/service.py`` prints, in milliseconds, p50, p95 and p99 at so many
connections: the bare endpoint, the same question again (warm), new questions, and both while a
backlog runs. Server and asker share the processors of this machine.
"""

import argparse
import asyncio
import contextlib
import json
import os
import random
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "unit" / "service"))

WARM = {"section": "NPS 5 SCH 80", "length": "20 ft", "units": "us"}
SECTIONS = ("NPS 2 STD", "NPS 4 SCH 40", "NPS 6 SCH 80", "NPS 8 STD", "SHS 100x5", "NPS 10 XS")

ECHO = """
import sys
import uvicorn
from fastapi import FastAPI, Request
from fastapi.responses import Response

body = b"x" * int(sys.argv[2])
app = FastAPI()

@app.post("/echo")
async def echo(request: Request) -> Response:
    await request.body()
    return Response(body, media_type="application/json")

uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[1]), http="h11", loop="asyncio",
            access_log=False, log_level="warning")
"""


async def asked(
    port: int, path: str, bodies: Callable[[], bytes], token: str, connections: int, seconds: float
) -> list[float]:
    """Ask as fast as answers come on so many connections; return the times of the answers."""
    times: list[float] = []
    end = time.perf_counter() + seconds

    async def one() -> None:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        while time.perf_counter() < end:
            body = bodies()
            head = (
                f"POST {path} HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
                f"Authorization: Bearer {token}\r\nContent-Length: {len(body)}\r\n\r\n"
            ).encode()
            began = time.perf_counter()
            writer.write(head + body)
            answer = await reader.readuntil(b"\r\n\r\n")
            if not answer.startswith(b"HTTP/1.1 200"):
                rest = await reader.read(500)
                message = f"{answer!r} {rest!r}"
                raise RuntimeError(message)
            lines = answer.lower().split(b"\r\n")
            size = next(line for line in lines if line.startswith(b"content-length:"))
            await reader.readexactly(int(size.split(b":")[1]))
            times.append(time.perf_counter() - began)
        writer.close()

    await asyncio.gather(*(one() for _ in range(connections)))
    return times


def told(name: str, times: list[float], base: dict[str, float] | None = None) -> dict[str, float]:
    """Print a line of the table and return its numbers."""
    cut = statistics.quantiles(times, n=100, method="inclusive")
    found = {"p50": cut[49] * 1e3, "p95": cut[94] * 1e3, "p99": cut[98] * 1e3}
    line = f"{name:34}{len(times):8}" + "".join(f"{value:9.2f}" for value in found.values())
    if base is not None:
        line += "".join(f"{found[part] / base[part]:8.2f}x" for part in ("p50", "p99"))
    print(line, flush=True)
    return found


@contextlib.contextmanager
def running(*words: str, port: int, environment: dict[str, str]) -> Iterator[None]:
    """Run a server until the block ends."""
    with tempfile.TemporaryFile() as log:
        process = subprocess.Popen(
            [sys.executable, *words], env=environment, stdout=log, stderr=log
        )
        try:
            for _ in range(300):
                with contextlib.suppress(OSError):
                    socket.create_connection(("127.0.0.1", port), 1).close()
                    break
                time.sleep(0.1)
            yield
        finally:
            process.terminate()
            process.wait(30)


def free_port() -> int:
    """Return a port that nothing listens at."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def new_question() -> bytes:
    """Return a question that was not asked before."""
    length = f"{random.randint(1000, 12_000_000) / 1000:.3f} mm"
    return json.dumps({"section": random.choice(SECTIONS), "length": length}).encode()


def backlog(rows: int) -> bytes:
    """Return a backlog of so many rows."""
    lines = ["job,section,length,parts"]
    lines += [
        f"J{number},{random.choice(SECTIONS)},{random.randint(500, 14_000)} mm,"
        f"{random.choice(('', '1.2 m*2'))}"
        for number in range(rows)
    ]
    return "\n".join(lines).encode()


def main() -> None:
    """Measure and print the table."""
    from service_workshop import made_template

    options = argparse.ArgumentParser()
    options.add_argument("--connections", type=int, default=8)
    options.add_argument("--seconds", type=float, default=8)
    options.add_argument("--rows", type=int, default=1_000_000)
    asked_for = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        template = made_template(Path(folder))
        token = template.tokens["asker"]
        place = {"CUTTABLE_LEDGER": str(template.path)}
        port, echo_port = free_port(), free_port()
        entry = "from cuttable.cli.main import run; run()"
        words = ("-c", entry, "serve", "--port", str(port), "--data", f"{folder}/data",
                 "--rate", "100000000")  # fmt: skip
        warm = json.dumps(WARM).encode()
        with running(*words, port=port, environment=os.environ | place):
            measure(asked_for, port, echo_port, token, warm)


def measure(asked_for: Any, port: int, echo_port: int, token: str, warm: bytes) -> None:
    """Measure against a service that runs."""
    import httpx

    head = {"Authorization": f"Bearer {token}"}
    site = httpx.Client(base_url=f"http://127.0.0.1:{port}/api/v1", headers=head, timeout=120)
    json_head = {"Content-Type": "application/json"}
    size = len(site.post("/check", content=warm, headers=json_head).content)
    print(f"question {len(warm)} bytes, answer {size} bytes; {asked_for.connections} connections, "
          f"{asked_for.seconds:g} s each; {os.cpu_count()} processors")  # fmt: skip
    print(f"{'':34}{'answers':>8}{'p50 ms':>9}{'p95 ms':>9}{'p99 ms':>9}{'p50':>9}{'p99':>9}")

    def run(where: int, path: str, bodies: Callable[[], bytes]) -> list[float]:
        return asyncio.run(
            asked(where, path, bodies, token, asked_for.connections, asked_for.seconds)
        )

    echo_words = ("-c", ECHO, str(echo_port), str(size))
    with running(*echo_words, port=echo_port, environment=dict(os.environ)):
        run(echo_port, "/echo", lambda: warm)
        bare = told("bare endpoint", run(echo_port, "/echo", lambda: warm))
        run(port, "/api/v1/check", lambda: warm)
        idle = told("check, same question", run(port, "/api/v1/check", lambda: warm), bare)
        told("bare endpoint again", run(echo_port, "/echo", lambda: warm))
    run(port, "/api/v1/check", new_question)
    new = told("check, new questions", run(port, "/api/v1/check", new_question), bare)
    sent = site.post("/backlogs?name=jobs.csv", content=backlog(asked_for.rows),
                     headers={"Content-Type": "text/csv"}).json()  # fmt: skip
    while site.get(f"/backlogs/{sent['id']}").json()["rows"] == 0:
        time.sleep(0.2)
    print(f"while a backlog of {asked_for.rows} rows runs (against idle):")
    told("check, same question", run(port, "/api/v1/check", lambda: warm), idle)
    told("check, new questions", run(port, "/api/v1/check", new_question), new)
    state = site.get(f"/backlogs/{sent['id']}").json()
    print(f"the backlog is {state['state']}, {state['share']:.0%} done")
    site.delete(f"/backlogs/{sent['id']}")
    site.close()


if __name__ == "__main__":
    main()
