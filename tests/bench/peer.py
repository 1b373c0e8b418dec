"""One pass of faster-whisper over a recording: base, int8, greedy, two threads. Run by bench.py in its own environment.

    peer.py MODEL_FOLDER RECORDING        writes the text to standard output
"""
import sys

from faster_whisper import WhisperModel

model = WhisperModel(sys.argv[1], device="cpu", compute_type="int8", cpu_threads=2)
segments, _ = model.transcribe(sys.argv[2], language="en", beam_size=1, temperature=0.0)
for segment in segments:
    print(segment.text.strip())
