#!/usr/bin/env python3
"""Times `tugback log` against two other ways of listening to the same recordings, in one run, and writes
docs/performance.md.

    bench.py [--turns N] [RECORDING …]        without recordings: those in audio-samples

Programs, each a whole process from its start to its end, one after the other, turn by turn, so that a machine that
becomes busy hits all of them:
  log     tugback log: two listenings, a third where a number is in doubt, extraction, the file on disk
  older   the same program built for any processor with AVX2 (GGML_NATIVE=OFF), if it is there
  peer    faster-whisper, Whisper base as published, int8, greedy, two threads (tests/bench/setup.sh)
  whole   one pass of whisper.cpp over the whole recording, windows of 30 s, two threads (tests/bench/whole.rs), with the
          speech model of the program: no ggml file of the published base is at hand, and the work a window is the same
Wall time, processor time (user and system) and the highest memory come from wait4(2). Of the turns the quickest counts.
How much others computed meanwhile comes from /proc/stat: what the machine was busy, less what the program took.
"""
import argparse, os, pathlib, platform, subprocess, sys, tempfile, time

TOP = pathlib.Path(__file__).resolve().parents[2]
BASE = TOP / "target/bench/base"
PYTHON = TOP / "target/bench/venv/bin/python"
MODEL = TOP / "models/ggml-base-treatment-q8_0.bin"


def busy_s():
    """Processor seconds that the whole machine has worked."""
    ticks = [int(n) for n in pathlib.Path("/proc/stat").read_text().splitlines()[0].split()[1:9]]
    return (sum(ticks) - ticks[3] - ticks[4]) / os.sysconf("SC_CLK_TCK")


def run(command):
    """Wall seconds, processor seconds, MB of memory of one process, processor seconds of everybody else."""
    started, before = time.monotonic(), busy_s()
    with tempfile.TemporaryFile() as errors:
        child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=errors, cwd=TOP)
        _, status, used = os.wait4(child.pid, 0)
        wall = time.monotonic() - started
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode != 0:
            errors.seek(0)
            sys.exit(f"{' '.join(map(str, command))}: exit {child.returncode}: {errors.read().decode()[-300:]}")
    took = used.ru_utime + used.ru_stime
    return wall, took, used.ru_maxrss / 1024, max(0, busy_s() - before - took)


LOOP = "while True: pass"
# Others take fewer processors than this: only then does it say anything how a program fares beside one that is started.
QUIET = 0.3


def beside(command):
    """Of one process: wall seconds, the share of a processor that another program got that began to compute, without end,
    one second later, and what third ones took meanwhile, in processors."""
    started, before = time.monotonic(), busy_s()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=TOP)
    time.sleep(1)
    began = time.monotonic()
    loop = subprocess.Popen([sys.executable, "-c", LOOP])
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    now = time.monotonic()
    ticks = pathlib.Path(f"/proc/{loop.pid}/stat").read_text().rsplit(")", 1)[1].split()[11:13]
    busy = busy_s()
    loop.kill()
    loop.wait()
    if child.returncode != 0:
        sys.exit(f"{' '.join(map(str, command))}: exit {child.returncode}")
    looped = sum(map(int, ticks)) / os.sysconf("SC_CLK_TCK")
    third = max(0, busy - before - looped - used.ru_utime - used.ru_stime) / (now - started)
    return now - started, looped / (now - began), third


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
    ap.add_argument("--older", type=pathlib.Path, default=TOP / "target/avx2/release/tugback")
    ap.add_argument("--whole", default=str(TOP / "target/release/examples/whole"))
    ap.add_argument("-o", "--output", type=pathlib.Path, default=TOP / "docs/performance.md")
    ap.add_argument("--note", default="", help="a sentence for the page, where something was not as usual")
    a = ap.parse_args()
    recordings = [r.resolve() for r in a.recordings] or sorted((TOP / "audio-samples").glob("*.flac"))
    seconds = sum(map(length, recordings))
    busy = os.getloadavg()[0]
    names = [n for n in NAMES if n != "older" or a.older.exists()]
    sums = {name: [0, 0, 0] for name in names}
    wall = others = 0
    busier = {}
    with tempfile.TemporaryDirectory() as folder:
        for recording in recordings:
            commands = {
                "log": [a.tugback, "log", recording, "-o", f"{folder}/log.json", "--quiet"],
                "older": [a.older, "log", recording, "-o", f"{folder}/log.json", "--quiet"],
                "peer": [PYTHON, TOP / "tests/bench/peer.py", BASE, recording],
                "whole": [a.whole, MODEL, recording],
            }
            turns = {name: [] for name in names}
            for _ in range(a.turns):
                for name in names:
                    pathlib.Path(f"{folder}/log.json").unlink(missing_ok=True)
                    turns[name].append(run(commands[name]))
                    wall += turns[name][-1][0]
                    others += turns[name][-1][3]
            for name, took in turns.items():
                sums[name][0] += min(t[0] for t in took)
                sums[name][1] += min(t[1] for t in took)
                sums[name][2] = max(sums[name][2], min(t[2] for t in took))
            if recording == recordings[0] and others / wall < QUIET:
                for name in names:
                    # Third programs make any of this worthless: turns in which they worked do not count where others are to
                    # be had.
                    slow = []
                    while len(slow) < 2 * a.turns and sum(t[2] < QUIET for t in slow) < a.turns:
                        pathlib.Path(f"{folder}/log.json").unlink(missing_ok=True)
                        slow.append(beside(commands[name]))
                    slow = [t for t in slow if t[2] < QUIET] or [min(slow, key=lambda t: t[2])]
                    busier[name] = (min(t[0] for t in turns[name]), *sorted(slow)[len(slow) // 2])
            print(recording.name, {n: round(min(t[0] for t in took), 1) for n, took in turns.items()}, file=sys.stderr)
    a.output.write_text(page(sums, recordings, seconds, (busy, others / wall), a.turns, busier, a.note))


NAMES = {
    "log": "`tugback log`, all listenings, to the file on disk",
    "older": "the same, built for any processor with AVX2",
    "peer": "faster-whisper 1.2.1, base, int8, greedy, 2 threads",
    "whole": "one whole-file pass of whisper.cpp, 2 threads",
}


# What is wanted: at most so much of the other's time and memory.
WANTED = {"peer": (1.3, 0.6), "whole": (1.0, None)}


def page(sums, recordings, seconds, busy, turns, busier, note):
    log = sums["log"]
    load, others = busy
    verdict = []
    for name, (time_most, memory_most) in WANTED.items():
        for what, of, most in (("time", 0, time_most), ("memory", 2, memory_most)):
            if most is not None:
                found = log[of] / sums[name][of]
                kept = "kept" if found <= most else "not kept"
                verdict.append(f"| {what}, of {NAMES[name]} | {most} | {found:.2f} | {kept} |")
    bars = "\n".join(verdict)
    rows = "\n".join(
        f"| {NAMES[n]} | {s[0] / seconds:.3f} | {s[1] / seconds:.3f} | {s[2]:.0f} MB | {log[0] / s[0]:.2f} | {log[1] / s[1]:.2f} | {log[2] / s[2]:.2f} |"
        for n, s in sums.items())
    slowed = "Not measured in this run: other programs were busy already."
    if busier:
        slowed = f"""`{recordings[0].name}` again, while another program, one second after the start, begins to keep one processor busy.

| program | alone | beside it | slower by | processor that the other one got | that third ones took |
| --- | --- | --- | --- | --- | --- |
""" + "\n".join(f"| {NAMES[n]} | {alone:.1f} s | {together:.1f} s | {together / alone:.2f} | {left:.2f} | {third:.2f} |"
                for n, (alone, together, left, third) in busier.items()) + """

The median of the turns in which third programs took less than 0.3 processors, if there were any."""
    return f"""# Speed and memory

Written by `make bench`; do not edit by hand. All are whole processes, timed in turns within one run (the quickest of
{turns} turns counts), on the same {len(recordings)} recordings, {seconds / 60:.1f} minutes: `tests/bench/bench.py` says how. The last three
columns are `tugback log` divided by that row.

Machine: {processor()}, {os.cpu_count()} processors, {platform.system()}. Load average at the start: {load:.1f}; while it ran,
other programs took {others:.2f} processors in the mean. Where that is much, processor time is the fairer column.{" " + note if note else ""}

| program | time / audio | processor time / audio | memory | time | processor time | memory |
| --- | --- | --- | --- | --- | --- | --- |
{rows}

| `tugback log` may take at most | wanted | found | |
| --- | --- | --- | --- |
{bars}

## Beside another program

{slowed}

`tugback log` hears several stretches of speech at the same time, each on one thread that waits for nobody. Twice a second it
looks how much others compute, and hears fewer while they do (`src/listen/threads.rs`).

## Memory

The model takes 81 MB, its vocabulary 10 MB, the program 14 MB, and each thread that hears some 35 MB. For long breaths more is
needed: the attention of one takes 32 bytes for each pair of its 20 ms (4 MB for 7 s, 69 MB for 29 s). So the model is first
loaded for breaths up to 13 s, again where a longer one comes (`src/listen/whisper/weights.rs`), and breaths of more than 8.5 s
are left to the first thread while others wait to be heard. With two threads, breaths up to 14 s: 244 MB (before that: 303);
speech without any pause: 305 MB (405).

## Older processors

whisper.cpp is compiled for the processor of the computer that builds it. To build for other computers, those with AVX2 and
no more: `GGML_NATIVE=OFF cargo build --release`. On a processor that lacks what the recogniser was built with, `tugback log`
says so in a sentence and ends; transcripts, checks, review and export work there all the same.
"""


if __name__ == "__main__":
    main()
