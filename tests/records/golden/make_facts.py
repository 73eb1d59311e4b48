"""Write one fact of each kind as it is stored now, for a version that is to be released.

Run as ``python -m tests.records.golden.make_facts > tests/records/golden/facts_vN.jsonl``.
Files of released versions are never written anew.
"""

from __future__ import annotations

import json
import sys

from app.job import facts
from app.records import rows
from tests.records.examples import EXPORTED, HERON, a_sighting, a_start

EXAMPLES: tuple[facts.Fact, ...] = (
    a_start(),
    facts.Prepared(ticked=("cold", "brushed")),
    a_sighting(),
    facts.Homed(tool=1),
    facts.CameraDisturbed(why="The cable was caught."),
    facts.Struck(number=3, why="a drop of plastic"),
    facts.Restored(number=3),
    facts.Retyped(number=3, position=facts.Position(150.43, 99.88, 30.0)),
    facts.MirrorAccepted(mirrored=True),
    EXPORTED,
    facts.Entered(tool=1),
)


def main() -> None:
    payloads = [*map(rows.from_fact, EXAMPLES), rows.from_profile(HERON)]
    for payload in payloads:
        line = {"kind": payload.kind, "version": payload.version, "payload": payload.text}
        sys.stdout.write(f"{json.dumps(line)}\n")


if __name__ == "__main__":
    main()
