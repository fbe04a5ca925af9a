"""The session of the README, as it stands there, against a running service."""

from __future__ import annotations

import json
import re
from pathlib import Path

from tests.docs.examples import reader, shell
from tests.places import ROOT
from tests.serving_thread import serving


def lines() -> list[str]:
    """The commands of "Use it", continued lines joined."""
    text = (ROOT / "README.md").read_text(encoding="utf-8").partition("## Use it")[2].partition("\n## ")[0]
    indented = "\n".join(line[4:] for line in text.splitlines() if line.startswith("    "))
    return [re.sub(r"\s+#.*$", "", line) for line in indented.replace("\\\n", " ").splitlines()]


def test_analyse_serve_curl_and_send(tmp_path: Path) -> None:
    folder = reader(tmp_path)
    commands = {line.split()[1] if line.startswith("spinfloor") else "curl": line for line in lines()}
    assert set(commands) >= {"analyse", "serve", "curl", "send", "plan", "budget", "doctor"}
    events = [json.loads(line) for line in shell(commands["analyse"], folder).splitlines()]
    assert [e["kind"] for e in events].count("spin.ended") == 2
    with serving(tmp_path / "var") as service:  # for `spinfloor serve --data var`
        made = json.loads(shell(commands["curl"], folder, service.base))
        send = commands["send"].replace(" ID ", f" {made['id']} ").replace("--speed 1", "--speed 0")
        shell(send, folder, service.base)
        for after in ("report", "archive", "reprocess"):
            shell(commands[after].replace("SORTIE", made["id"]) + f" --from {service.base}", folder)
        assert (folder / f"{made['id']}.pdf").read_bytes().startswith(b"%PDF")
        assert (folder / f"{made['id']}.zip").is_file()
        told = service.http.get(f"/v1/sorties/{made['id']}/events").json()["events"]
    key = [(e["kind"], e["time_ns"]) for e in events]
    live = [e for e in told if e["kind"] != "link"]  # a busy machine may pause the sender long enough to be silent
    assert [(e["kind"], e["time_ns"]) for e in live][: len(key)] == key
    plan = "replay_data/r01-first-turns.plan.yaml"
    for name in ("plan", "budget"):
        assert shell(commands[name].replace("PLAN", plan), folder)
