"""What the other scripts share: the weights of a CTranslate2 folder, the mel filters, the bytes of a token.

No command of its own. Needs numpy."""
import struct

import numpy as np

MAGIC = 0x67676D6C                      # "ggml": the first four bytes of every file that whisper.cpp reads
TYPES = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}


def read_ct2(path):
    """The tensors of a CTranslate2 model.bin, by name."""
    with open(path, "rb") as f:
        def u(fmt):
            return struct.unpack("<" + fmt, f.read(struct.calcsize("<" + fmt)))

        def s():
            return f.read(u("H")[0])[:-1].decode()

        u("I"), s(), u("I")                                                # version, name, revision
        tensors = {}
        for _ in range(u("I")[0]):
            name = s()
            rank, = u("B")
            dims = u("%dI" % rank) if rank else ()
            kind, size = u("BI")
            tensors[name] = np.frombuffer(f.read(size), dtype=TYPES[kind]).reshape(dims)
    return tensors


def mel_filters(sr=16000, n_fft=400, n_mels=80):
    """Slaney mel filter bank, Slaney norm (the formula of the open audio libraries)."""
    def hz2mel(f):
        f = np.asarray(f, float)
        m = f / (200 / 3)
        return np.where(f >= 1000, 15 + np.log(np.maximum(f, 1e-9) / 1000) / (np.log(6.4) / 27), m)

    def mel2hz(m):
        m = np.asarray(m, float)
        return np.where(m >= 15, 1000 * np.exp((np.log(6.4) / 27) * (m - 15)), m * 200 / 3)

    fft = np.linspace(0, sr / 2, 1 + n_fft // 2)
    points = mel2hz(np.linspace(hz2mel(0.0), hz2mel(sr / 2), n_mels + 2))
    steps = np.diff(points)
    ramps = points[:, None] - fft[None]
    w = np.maximum(0, np.minimum(-ramps[:-2] / steps[:-1, None], ramps[2:] / steps[1:, None]))
    return (w * (2.0 / (points[2:] - points[:-2]))[:, None]).astype(np.float32)


def byte_decoder():
    """From the printable stand-ins of a byte-level vocabulary to the bytes they stand for."""
    bs = list(range(33, 127)) + list(range(161, 173)) + list(range(174, 256))
    cs = bs[:]
    for b in range(256):
        if b not in bs:
            bs.append(b)
            cs.append(256 + len(cs) - 188)
    return {chr(c): b for b, c in zip(bs, cs)}


def token_count(n_vocab):
    """Tokens that stand for text; the rest (languages, times, tasks) are known to whisper.cpp by number."""
    return 50257 if n_vocab >= 51865 else 50256
