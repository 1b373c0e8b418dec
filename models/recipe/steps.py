"""Fits src/entries/steps.tsv: which signs speak against a step. Needs scikit-learn, and labelled sessions with their scorer.

    steps.py TUGBACK SCORER FOLDER...

TUGBACK is the program, SCORER the file of the scorer (it has likeness, and corpus beside it), each FOLDER holds sessions in
TOML. What the program makes of a session is set against its labels; the signs of each step come from its trace. Prints the
weights for the table, and for the last folder, which takes no part in the fit, how many of the wrong steps carry the doubt.
"""

import json, os, pathlib, re, subprocess, sys, tempfile

import numpy as np
from sklearn.linear_model import LogisticRegression

program, scorer, *folders = sys.argv[1:]
tools = {"__name__": "scorer", "__file__": scorer}
sys.path.insert(0, str(pathlib.Path(scorer).parent))
exec(compile(pathlib.Path(scorer).read_text(), scorer, "exec"), tools)
corpus = tools["corpus"]
TRACE = re.compile(r'said="?(?P<said>.*?)"? kind="?(?P<kind>[\w-]+)"? share=\S+ signs=\[(?P<signs>.*)\]')
SIGN = re.compile(r'\("([\w-]+)", ([-\d.e]+)\)')
SLACK = 0.3


def matched(labels, made):
    """For each entry that was made, whether a label of the same kind and status is its own."""
    near = lambda g, p: p["from_s"] < g["to_s"] + SLACK and p["to_s"] > g["from_s"] - SLACK
    pairs = sorted(((tools["likeness"](g, p), -abs(g["from_s"] - p["from_s"]), i, j) for i, g in enumerate(labels)
                    for j, p in enumerate(made) if (near(g, p) or g.get("amended")) and tools["likeness"](g, p)), reverse=True)
    taken, own = set(), {}
    for _, _, i, j in pairs:
        if i not in taken and j not in own:
            taken.add(i)
            own[j] = labels[i].get("status", "done") == made[j].get("status", "done")
    return own


def steps(path):
    session = corpus.load(str(path))
    with tempfile.TemporaryDirectory() as folder:
        said, log = pathlib.Path(folder, "said.vtt"), pathlib.Path(folder, "log.json")
        said.write_text(corpus.webvtt(session))
        command = [program, "log", said, "-o", log, "--notation", session.get("notation", "iso3950")]
        env = {**os.environ, "TUGBACK_LOG": "tugback::entries::steps=trace", "NO_COLOR": "1"}
        trace = subprocess.run(command, capture_output=True, text=True, env=env).stderr
        entries = [e for e in json.loads(log.read_text())["entries"] if e.get("review") != "struck"]
    signs = {}
    for line in trace.splitlines():
        if found := TRACE.search(line):
            signs.setdefault((found["kind"], found["said"]), []).append({k: float(v) for k, v in SIGN.findall(found["signs"])})
    own = matched(corpus.expected(session, None), entries)
    for j, entry in enumerate(entries):
        if of_entry := signs.get((entry["kind"], entry["said"])):
            yield {**of_entry[0], entry["kind"]: 1.0}, not own.get(j, False)


sets = [[s for path in sorted(pathlib.Path(f).glob("*.toml")) for s in steps(path)] for f in folders]
names = list(dict.fromkeys(n for rows in sets for signs, _ in rows for n in signs))
table = lambda rows: (np.array([[signs.get(n, 0.0) for n in names] for signs, _ in rows]), np.array([wrong for _, wrong in rows]))
x, wrong = table([s for rows in sets[:-1] for s in rows])
mean, spread = x.mean(0), x.std(0) + 1e-9
fit = LogisticRegression(C=0.03, max_iter=3000).fit((x - mean) / spread, wrong)
weights = fit.coef_[0] / spread
always = fit.intercept_[0] - (mean * weights).sum()
print(f"always\t{always:.2f}")
for name, weight in zip(names, weights):
    print(f"{name}\t{weight:.3f}")
x, wrong = table(sets[-1])
share = 1 / (1 + np.exp(-(x @ weights + always)))
for bound in (0.1, 0.125, 0.15, 0.175, 0.2):
    print(f"from {bound}: {np.mean(share[wrong] >= bound):.2f} of {wrong.sum()} wrong steps, {np.mean(share[~wrong] >= bound):.3f} of {(~wrong).sum()} right ones", file=sys.stderr)
