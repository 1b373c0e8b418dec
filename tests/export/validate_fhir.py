"""Reads each file given as a FHIR R4 (4.0.1) Bundle with fhir.resources 6.2.0; prints what is wrong and ends with 1.

Every number must come back digit for digit.
"""

import json
import sys
from decimal import Decimal

from fhir.resources.bundle import Bundle


def numbers(value):
    """All numbers of a JSON document, in order."""
    if isinstance(value, dict):
        return [n for v in value.values() for n in numbers(v)]
    if isinstance(value, list):
        return [n for v in value for n in numbers(v)]
    return [value] if isinstance(value, (int, Decimal)) and not isinstance(value, bool) else []


wrong = 0
for name in sys.argv[1:]:
    text = open(name, encoding="utf-8").read()
    try:
        bundle = Bundle.parse_raw(text)
        before = sorted(map(str, numbers(json.loads(text, parse_float=Decimal))))
        after = sorted(map(str, numbers(json.loads(bundle.json(), parse_float=Decimal))))
        assert before == after, "numbers changed: %s" % (set(before) ^ set(after))
    except Exception as error:
        wrong += 1
        print(f"{name}: {error}")
sys.exit(1 if wrong else 0)
