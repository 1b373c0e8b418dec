"""How Kokoro must get a text to say it right: words for digits, letters by name, hard words respelled, phonemes.

No command of its own. Needs phonemizer-fork and espeakng-loader."""
import re

ESPEAK = {  # what espeak-ng's rules misread -> a spelling that they read right
    r"(mesio|disto)[- ]?(buccal|lingual|palatal)": lambda m: {"m": "meezeeo-", "d": "disto-"}[m[1][0].lower()] +
                                                            m[2].lower().replace("buccal", "buckle"),
    r"distal(s?)": r"dist'l\1", r"gutta[- ]percha": "gutta purcha", r"chlorhexidine": "klor-hexideen",
    r"lignocaine": "lignoe-kane", r"mepivacaine": "meppiva-kane", r"radiograph(s?)": r"radio graph\1",
    r"dexamethasone": "dexa-methasone",
}
UNITS = {"mm": "millimetres", "ml": "millilitres", "mg": "milligrams"}
LETTERS = dict(zip("ABCDEFGHIJKLMNOPQRSTUVWXYZ", "eigh bee see dee ee eff jee aitch eye jay kay ell em en oh pee cue "
                   "are ess tee you vee double-you ex why zed".split()))
ONES = ("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
        "seventeen eighteen nineteen").split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()
VOCAB = dict(zip(';:,.!?—…"()“” ', [1, 2, 3, 4, 5, 6, 9, 10, 11, 12, 13, 14, 15, 16])) | dict(zip(
    "̃ʣʥʦʨᵝꭧAIOQSTWYᵊabcdefhijklmnopqrstuvwxyzɑɐɒæβɔɕçɖðʤəɚɛɜɟɡɥɨɪʝɯɰŋɳɲɴøɸθœɹɾɻʁɽʂʃʈʧʊʋʌɣɤχʎʒʔˈˌːʰʲ↓→↗↘ᵻ",
    [17, 18, 19, 20, 21, 22, 23, 24, 25, 31, 33, 35, 36, 39, 41, 42, *range(43, 49), *range(50, 69), 69, 70, 71, 72,
     75, 76, 77, 78, 80, 81, 82, 83, 85, 86, 87, 90, 92, 99, 101, 102, 103, 110, 111, 112, 113, 114, 115, 116, 118,
     119, 120, 123, 125, 126, 128, 129, 130, 131, 132, 133, 135, 136, 138, 139, 140, 142, 143, 147, 148, 156, 157,
     158, 162, 164, 169, 171, 172, 173, 177]))
MAP = sorted({"ʔˌn̩": "tᵊn", "ʔn̩": "tᵊn", "ʔn": "tᵊn", "ʔ": "t", "a^ɪ": "I", "a^ʊ": "W", "d^ʒ": "ʤ", "e^ɪ": "A",
              "t^ʃ": "ʧ", "ɔ^ɪ": "Y", "ə^l": "ᵊl", "ʲo": "jo", "ʲə": "jə", "ʲ": "", "ɚ": "əɹ", "x": "k", "ç": "k",
              "ɐ": "ə", "ɬ": "l", "̃": ""}.items(), key=lambda kv: -len(kv[0]))


def number(n):
    if n < 20:
        return ONES[n]
    if n < 100:
        return TENS[n // 10 - 2] + ("" if n % 10 == 0 else " " + ONES[n % 10])
    if n < 1000:
        return ONES[n // 100] + " hundred" + ("" if n % 100 == 0 else " " + number(n % 100))
    return number(n // 1000) + " thousand" + ("" if n % 1000 == 0 else " " + number(n % 1000))


def decimal(m):
    whole, _, part = m.group().partition(".")
    said = number(int(whole)) if whole and len(whole) < 7 else " ".join(ONES[int(d)] for d in whole) or "zero"
    return said + (" point " + " ".join(ONES[int(d)] for d in part) if part else "")


def spoken(text, us):
    """The text for an engine: digits in words, letters by name, hard words respelled."""
    t = text.replace("’", "'").replace("–", ", ").replace("—", ", ")
    t = re.sub(r"\s*%", " percent", t).replace("#", "number ")
    t = re.sub(r"\b(mm|ml|mg)\b", lambda m: UNITS[m.group()], t)
    t = re.sub(r"(?<![\d.])\d*\.?\d+", decimal, t)
    for word, by in ESPEAK.items():
        t = re.sub(rf"\b(?:{word})\b", by, t, flags=re.I)
    letters = {**LETTERS, "Z": "zee" if us else "zed"}
    t = re.sub(r"\b[A-Z]{2,5}\b", lambda m: " ".join(letters[c] for c in m.group()), t)      # EDTA, MB, WL
    t = re.sub(r"(?<!^)(?<![.?!] )\bA\b|\b[B-HJ-Z]\b(?!')", lambda m: letters[m.group()], t)    # K file, shade A two
    return re.sub(r"\s+", " ", t).strip()


class Phonemes:
    """Text to Kokoro's phonemes, in American or British English, by espeak-ng."""
    def __init__(self, us):
        import espeakng_loader
        from phonemizer.backend import EspeakBackend
        from phonemizer.backend.espeak.wrapper import EspeakWrapper
        self.us = us
        EspeakWrapper.set_library(espeakng_loader.get_library_path())
        EspeakWrapper.set_data_path(espeakng_loader.get_data_path())
        self.espeak = EspeakBackend("en-us" if us else "en-gb", preserve_punctuation=True, with_stress=True, tie="^")

    def of(self, text):
        p = self.espeak.phonemize([text], strip=True)[0]
        p = re.sub("(?<=[ɔɑɜɪʊɛ])ː\\^ɹr?", "ːɹ", p).replace("r", "ɹ")
        for old, new in MAP:
            p = p.replace(old, new)
        p = re.sub("(\\S)\u0329", "ᵊ\\1", p).replace("\u0329", "")
        pairs = [("o^ʊ", "O"), ("ɜːɹ", "ɜɹ"), ("ɜː", "ɜɹ"), ("ɪə", "iə"), ("ː", ""), ("ɾ", "T")] if self.us else \
                [("e^ə", "ɛː"), ("iə", "ɪə"), ("ə^ʊ", "Q")]
        for old, new in pairs:
            p = p.replace(old, new)
        if not self.us:
            p = re.sub("a(?![ːɪʊ])", "æ", p)
        return p.replace("^", "").replace("ɹɹ", "ɹ")
