#!/usr/bin/env python3
"""Times `tugback log` against two other ways of listening to the same recordings, in one run, and writes
docs/performance.md.

    bench.py [--turns N] [RECORDING …]        without recordings: those in audio-samples

Three programs, each a whole process from its start to its end, one after the other, turn by turn, so that a machine that
becomes busy hits all of them:
  log     tugback log: two listenings, a third where a number is in doubt, extraction, the file on disk
  peer    faster-whisper, Whisper base as published, int8, greedy, two threads (tests/bench/setup.sh)
  whole   one pass of whisper.cpp over the whole recording, windows of 30 s, two threads (tests/bench/whole.rs), with the
          speech model of the program: no ggml file of the published base is at hand, and the work a window is the same
Wall time, processor time (user and system) and the highest memory come from wait4(2). Of the turns the quickest counts.
"""
import argparse, os, pathlib, platform, subprocess, sys, tempfile, time

TOP = pathlib.Path(__file__).resolve().parents[2]
BASE = TOP / "target/bench/base"
PYTHON = TOP / "target/bench/venv/bin/python"
MODEL = TOP / "models/ggml-base-treatment-q8_0.bin"


def run(command):
    """Wall seconds, processor seconds, MB of memory of one process."""
    started = time.monotonic()
    with tempfile.TemporaryFile() as errors:
        child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=errors, cwd=TOP)
        _, status, used = os.wait4(child.pid, 0)
        wall = time.monotonic() - started
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode != 0:
            errors.seek(0)
            sys.exit(f"{' '.join(map(str, command))}: exit {child.returncode}: {errors.read().decode()[-300:]}")
    return wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def length(recording):
    """Seconds, as the decoder of the peer counts them."""
    count = "import sys; from faster_whisper.audio import decode_audio; print(len(decode_audio(sys.argv[1])) / 16000)"
    done = subprocess.run([PYTHON, "-c", count, recording], capture_output=True, text=True, check=True)
    return float(done.stdout)


def processor():
    for line in pathlib.Path("/proc/cpuinfo").read_text().splitlines():
        if line.startswith("model name"):
            return line.split(":", 1)[1].strip()
    return platform.processor() or platform.machine()


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("recordings", nargs="*", type=pathlib.Path)
    ap.add_argument("--turns", type=int, default=3)
    ap.add_argument("--tugback", default=str(TOP / "target/release/tugback"))
    ap.add_argument("--whole", default=str(TOP / "target/release/examples/whole"))
    ap.add_argument("-o", "--output", type=pathlib.Path, default=TOP / "docs/performance.md")
    ap.add_argument("--note", default="", help="a sentence for the page, where something was not as usual")
    a = ap.parse_args()
    recordings = [r.resolve() for r in a.recordings] or sorted((TOP / "audio-samples").glob("*.flac"))
    seconds = sum(map(length, recordings))
    busy = os.getloadavg()[0]
    sums = {"log": [0, 0, 0], "peer": [0, 0, 0], "whole": [0, 0, 0]}
    with tempfile.TemporaryDirectory() as folder:
        for recording in recordings:
            commands = {
                "log": [a.tugback, "log", recording, "-o", f"{folder}/log.json", "--quiet"],
                "peer": [PYTHON, TOP / "tests/bench/peer.py", BASE, recording],
                "whole": [a.whole, MODEL, recording],
            }
            turns = {name: [] for name in commands}
            for _ in range(a.turns):
                for name, command in commands.items():
                    pathlib.Path(f"{folder}/log.json").unlink(missing_ok=True)
                    turns[name].append(run(command))
            for name, took in turns.items():
                sums[name][0] += min(t[0] for t in took)
                sums[name][1] += min(t[1] for t in took)
                sums[name][2] = max(sums[name][2], min(t[2] for t in took))
            print(recording.name, {n: round(min(t[0] for t in took), 1) for n, took in turns.items()}, file=sys.stderr)
    a.output.write_text(page(sums, recordings, seconds, busy, a.turns, a.note))


NAMES = {
    "log": "`tugback log`, all listenings, to the file on disk",
    "peer": "faster-whisper 1.2.1, base, int8, greedy, 2 threads",
    "whole": "one whole-file pass of whisper.cpp, 2 threads",
}


def page(sums, recordings, seconds, busy, turns, note):
    log = sums["log"]
    rows = "\n".join(
        f"| {NAMES[n]} | {s[0] / seconds:.3f} | {s[1] / seconds:.3f} | {s[2]:.0f} MB | {log[0] / s[0]:.2f} | {log[1] / s[1]:.2f} | {log[2] / s[2]:.2f} |"
        for n, s in sums.items())
    return f"""# Speed and memory

Written by `make bench`; do not edit by hand. All three are whole processes, timed in turns within one run (the quickest of
{turns} turns counts), on the same {len(recordings)} recordings, {seconds / 60:.1f} minutes: `tests/bench/bench.py` says how. The last three
columns are `tugback log` divided by that row.

Machine: {processor()}, {os.cpu_count()} processors, {platform.system()}; load average at the start: {busy:.1f}. Where others
compute on the machine, the column of processor time is the fairer one.{" " + note if note else ""}

| program | time / audio | processor time / audio | memory | time | processor time | memory |
| --- | --- | --- | --- | --- | --- | --- |
{rows}

## Older processors

whisper.cpp is compiled for the processor of the computer that builds it. To build for other computers, those with AVX2 and
no more: `GGML_NATIVE=OFF cargo build --release`. On a processor that lacks what the recogniser was built with, `tugback log`
says so in a sentence and ends; transcripts, checks, review and export work there all the same.
"""


if __name__ == "__main__":
    main()
