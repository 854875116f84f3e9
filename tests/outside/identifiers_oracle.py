#!/usr/bin/env python3
"""Outside check of patient numbers: what python-stdnum and nhs-number say of seeded strings.

    identifiers_oracle.py [--count N] [--seed N]

Prints one JSON object a line:
    {"typed": "...", "stdnum": true, "nhs_number": true, "scotland": false}
stdnum      python-stdnum (LGPL, test only): format, length and check digit of an NHS number
nhs_number  nhs-number (MIT): the same, and a real date when the digits lie in the range of CHI numbers
scotland    nhs-number for its Scottish range: a CHI number

The strings are numbers with a right check digit, with a wrong one, with a slip of the pen (a digit changed, two
neighbours swapped), with digits missing or too many, with letters; bare or in groups. About one in three is valid.
"""

import argparse
import json
import random

import nhs_number
from stdnum.gb import nhs


def with_check_digit(rng, stem):
    """Nine digits and the tenth that stdnum accepts; another stem's if none fits."""
    while True:
        for last in "0123456789":
            if nhs.is_valid(stem + last):
                return stem + last
        stem = digits(rng, 9)


def digits(rng, count):
    return "".join(rng.choice("0123456789") for _ in range(count))


def stem(rng):
    kind = rng.randrange(4)
    if kind == 0:
        return "999" + digits(rng, 6)
    if kind == 1:  # begins like a CHI number, not always with a real date
        return f"{rng.randrange(0, 34):02}{rng.randrange(0, 14):02}{rng.randrange(0, 100):02}" + digits(rng, 3)
    if kind == 2:
        return rng.choice("4679") + digits(rng, 8)
    return digits(rng, 9)


def slip(rng, number):
    at = rng.randrange(len(number) - 1)
    if rng.random() < 0.5:
        return number[:at] + rng.choice("0123456789") + number[at + 1 :]
    return number[:at] + number[at + 1] + number[at] + number[at + 2 :]


def dressed(rng, number):
    kind = rng.randrange(6)
    if kind == 0:
        return f"{number[:3]} {number[3:6]} {number[6:]}"
    if kind == 1:
        return f"{number[:3]}-{number[3:6]}-{number[6:]}"
    if kind == 2:
        return "  " + number + " "
    return number


def string(rng):
    number = with_check_digit(rng, stem(rng))
    kind = rng.randrange(10)
    if kind < 4:
        return dressed(rng, number)
    if kind < 6:
        return dressed(rng, slip(rng, number))
    if kind < 7:
        return dressed(rng, digits(rng, 10))
    if kind < 8:
        return digits(rng, rng.choice([0, 1, 8, 9, 11, 12, 20]))
    at = rng.randrange(10)
    return number[:at] + rng.choice("XxOol.,/?") + number[at + 1 :]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    rng = random.Random(args.seed)
    for _ in range(args.count):
        typed = string(rng)
        print(
            json.dumps(
                {
                    "typed": typed,
                    "stdnum": nhs.is_valid(typed),
                    "nhs_number": nhs_number.is_valid(typed),
                    "scotland": nhs_number.is_valid(typed, for_region=nhs_number.REGION_SCOTLAND),
                }
            )
        )


if __name__ == "__main__":
    main()
