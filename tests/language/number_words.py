"""Prints numbers in words, one a line: the number, a tab, the words, as num2words 0.5.14 spells them.

All integers 0 to 9999, then all decimals 0.00 to 99.99 with two places.
"""

from decimal import Decimal

from num2words import num2words

for n in range(10_000):
    print(n, num2words(n), sep="\t")
for n in range(10_000):
    value = Decimal(n).scaleb(-2)
    print(value, num2words(value), sep="\t")
