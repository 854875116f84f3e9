"""A second reckoning of supply amounts and verdicts, in Python fractions, to compare the engine with.

Written from the published figures named beside each table, not from the engine or its data files. Prints one JSON
object per line: the request, and what each of its lines must come to. Standard library only.

    python supply_oracle.py [COUNT] [SEED]
"""

import json
import random
import sys
from fractions import Fraction
from math import ceil, floor

ONE_PIECE = ("one-piece-closed", "one-piece-drainable", "one-piece-urostomy")
TWO_PIECE = ("two-piece-closed-pouch", "two-piece-drainable-pouch", "two-piece-urostomy-pouch")
POUCHES = ONE_PIECE + TWO_PIECE
ITEMS = POUCHES + ("flange", "night-bag", "belt", "stoma-cap", "stoma-plug", "convex-insert", "barrier-film-wipe",
                   "powder", "adhesive-remover-spray", "thickener", "deodorant", "leg-bag", "irrigation-kit",
                   "flange-extender")
SETS = ("scotland-2015", "us-coverage", "australia-scheme", "doncaster", "england-template")
G_PER_OUNCE = Fraction("28.3495")
ML_PER_FLUID_OUNCE = Fraction("29.5735")

# US L33828, usual maximum; (figure, days of the period). Named codes first, then what an item without a code stands for.
US_CODES = {
    "A4357": (2, 30), "A4414": (20, 30), "A4416": (60, 30), "A4424": (20, 30), "A5056": (40, 30), "A5057": (40, 30),
    "A5055": (31, 30), "A5083": (150, 30), "A4361": (3, 180), "A5102": (2, 180), "A5120": (150, 180),
}
US_OUNCES = {"A4405": (4, 30), "A4371": (10, 180)}
US_NO_MAXIMUM = ("A4373", "A4390", "A4400", "A4410", "A4422", "A4456")
US_ITEMS = {
    "two-piece-closed-pouch": (60, 30), "two-piece-drainable-pouch": (20, 30), "two-piece-urostomy-pouch": (20, 30),
    "night-bag": (2, 30), "belt": (1, 30), "stoma-cap": (31, 30), "stoma-plug": (31, 30), "convex-insert": (10, 30),
    "barrier-film-wipe": (150, 180),
}
# England, shared template, from memory: (low, high, days).
ENGLAND = {
    ("one-piece-closed", "colostomy"): (30, 90), ("two-piece-closed-pouch", "colostomy"): (30, 90),
    ("one-piece-drainable", "ileostomy"): (15, 30), ("two-piece-drainable-pouch", "ileostomy"): (15, 30),
    ("one-piece-urostomy", "urostomy"): (10, 20), ("two-piece-urostomy-pouch", "urostomy"): (10, 20),
}


def judged(rate, low, high, top):
    """The band of a rate; `top` is the figure beyond which it is over."""
    if rate > top:
        return "over"
    if rate > high:
        return "above-usual"
    if low is not None and rate < low:
        return "under"
    return "in-range"


def per_day(line):
    return Fraction(line["use"]["units"], line["use"]["every_days"])


def convex(line):
    return line.get("convexity", "flat") != "flat"


def scotland(line, stomas, lines):
    """Scottish Government review 2015, Appendix 1: 2.5 a day or 4 a week, alert more than 25% above, 52 weeks."""
    if line["item"] in POUCHES and stomas == ("colostomy", "urostomy"):
        year = 52 * (7 * Fraction(5, 2) + 4)
        together = sum(per_day(other) for other in lines if other["item"] in POUCHES) * 364
        return judged(together, None, year, year * Fraction(5, 4)), None, int(year)
    if line["item"] in TWO_PIECE:
        year = 52 * 7 * Fraction(5, 2)
    elif line["item"] in ONE_PIECE:
        year = 52 * 7 * Fraction(5, 2) if stomas[0] == "colostomy" else Fraction(52 * 4)
    else:
        return None
    return judged(per_day(line) * 364, None, year, year * Fraction(5, 4)), None, int(year)


def us_limit(line):
    """(units of the code per day, figure, days), or None."""
    code, item, wear = line.get("hcpcs"), line["item"], line.get("wear")
    if code is not None:
        if code in US_NO_MAXIMUM:
            return None
        if code in US_OUNCES:
            grams = line.get("content_g")
            units = per_day(line) if grams is None else per_day(line) * grams / G_PER_OUNCE
            return (units, *US_OUNCES[code])
        return (per_day(line), *US_CODES[code])
    if item == "powder":
        return (per_day(line) * line["content_g"] / G_PER_OUNCE, 10, 180) if "content_g" in line else None
    if item == "adhesive-remover-spray":
        return (per_day(line) * line["content_ml"] / ML_PER_FLUID_OUNCE, 16, 180) if "content_ml" in line else None
    if item == "one-piece-closed":
        return per_day(line), 60, 30
    if item == "one-piece-drainable":
        if convex(line):
            return None if wear in ("standard", "mouldable") else (per_day(line), 40, 30)
        return None if wear == "mouldable" else (per_day(line), 40 if wear == "extended" else 20, 30)
    if item in ("one-piece-urostomy", "flange"):
        if wear in ("extended", "mouldable") or (item == "flange" and convex(line)):
            return None
        return per_day(line), 20, 30
    return (per_day(line), *US_ITEMS[item]) if item in US_ITEMS else None


def united_states(line, _stomas, _lines):
    found = us_limit(line)
    if found is None:
        return None
    units, figure, days = found
    return judged(units * days, None, figure, figure), None, figure


def australia_figures(line):
    """Maximum per month: (usual, most); they differ where the scheme's figure depends on the product."""
    item, wear = line["item"], line.get("wear")
    if item == "one-piece-closed":
        return (60, 60) if convex(line) else (90, 90)
    if item == "one-piece-drainable":
        return 30, 30
    if item == "one-piece-urostomy":
        return (30, 30) if convex(line) else (40, 60)
    if item == "flange":
        return {"standard": (30, 30), "extended": (20, 20), "mouldable": (20, 20)}.get(wear, (20, 30))
    return None


def australia(line, _stomas, lines):
    """One allowance per purpose: pouches share one, flanges another."""
    if australia_figures(line) is None:
        return None
    same = [other for other in lines
            if australia_figures(other) and (other["item"] in POUCHES) == (line["item"] in POUCHES)]
    usual = sum(per_day(other) * 30 / australia_figures(other)[0] for other in same)
    most = sum(per_day(other) * 30 / australia_figures(other)[1] for other in same)
    return judged(usual, None, 1, usual / most), None, australia_figures(line)[0]


def doncaster(line, stomas, _lines):
    figure = None
    if line["item"] == "one-piece-closed" and "colostomy" in stomas and not convex(line):
        figure = 60
    elif line["item"] == "one-piece-urostomy" and "urostomy" in stomas and not convex(line):
        figure = 30
    elif line["item"] in ("two-piece-urostomy-pouch", "flange") and "urostomy" in stomas:
        figure = 10
    elif line["item"] == "night-bag":
        figure = 5
    return None if figure is None else (judged(per_day(line) * 30, None, figure, figure), None, figure)


def england(line, stomas, _lines):
    item, rate = line["item"], per_day(line)
    for stoma in stomas:
        if (item, stoma) not in ENGLAND:
            continue
        low, high = ENGLAND[item, stoma]
        return judged(rate * 30, low, high, high), low, high
    if item == "flange":
        return judged(rate * 30, 10, 15, 15), 10, 15
    if item == "night-bag":  # printed 4, meant as one every 7 days
        return ("over" if rate > Fraction(1, 7) else "in-range"), None, 4
    if item == "leg-bag":  # printed about 4, meant as one every 5 to 7 days
        return ("over" if rate > Fraction(1, 5) else "in-range"), None, 4
    if item == "adhesive-remover-spray":
        return judged(rate * 30, 1, 3, 3), 1, 3
    if item in ("belt", "irrigation-kit"):
        high = 3 if item == "belt" else 1
        return judged(rate * 365, None, high, high), None, high
    if item == "stoma-cap":
        return judged(rate * 30, None, 30, 30), None, 30
    if item == "powder":
        return judged(rate * 30, None, 1, 1), None, 1
    if item == "flange-extender":
        return judged(rate * 30 / line["pack"], None, 3, 3), None, 3
    return None


FIGURES = [(2, 30), (5, 30), (10, 30), (15, 30), (20, 30), (30, 30), (31, 30), (40, 30), (60, 30), (90, 30), (1, 7),
           (1, 5), (150, 180), (3, 365), (208, 364), (260, 364), (910, 364), (1118, 364), (1137, 364), (1397, 364)]
RULES = dict(zip(SETS, (scotland, united_states, australia, doncaster, england)))


def amounts(line, period):
    need = ceil(period * per_day(line))
    units = max(0, need - line["on_hand"])
    packs = ceil(Fraction(units, line["pack"]))
    supplied = packs * line["pack"]
    return {"units": units, "packs": packs, "supplied": supplied, "surplus": supplied - units,
            "left_at_end": line["on_hand"] + supplied - need,
            "days_supply": floor((line["on_hand"] + supplied) / per_day(line))}


def a_line(rng):
    units, days = rng.randint(1, 12), rng.randint(1, 14)
    if rng.random() < 0.5:  # at a published figure or one beside it, where a wrong comparison shows
        figure, days = rng.choice(FIGURES)
        units = max(1, figure + rng.choice([-1, 0, 1]))
    line = {"item": rng.choice(ITEMS), "pack": rng.choice([1, 2, 5, 7, 10, 20, 30, 50, 90, 100]),
            "use": {"units": units, "every_days": days},
            "on_hand": rng.choice([0, 0, 1, rng.randint(0, 40), rng.randint(0, 500)])}
    if rng.random() < 0.3:
        line["convexity"] = rng.choice(["flat", "convex", "soft-convex", "light-convex", "deep-convex"])
    if rng.random() < 0.3:
        line["wear"] = rng.choice(["standard", "extended", "mouldable"])
    if line["item"] == "powder" and rng.random() < 0.7:
        line["content_g"] = rng.choice([25, 28, 57])
    if line["item"] == "adhesive-remover-spray" and rng.random() < 0.7:
        line["content_ml"] = rng.choice([50, 75])
    if rng.random() < 0.2:
        line["hcpcs"] = rng.choice([*US_CODES, *US_OUNCES, *US_NO_MAXIMUM])
        line.pop("content_ml", None)
        if line["hcpcs"] not in US_OUNCES:
            line.pop("content_g", None)
    return line


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    rng = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 20260105)
    for _ in range(count):
        period = rng.choice([1, 7, 14, 28, 30, 31, 90, 366, rng.randint(1, 366)])
        stomas = rng.choice([("colostomy",), ("ileostomy",), ("urostomy",), ("colostomy", "urostomy")])
        lines = [a_line(rng) for _ in range(rng.choice([1, 1, 1, 2, 3]))]
        expected = []
        for line in lines:
            verdicts = {}
            for name, rule in RULES.items():
                verdict, low, high = rule(line, stomas, lines) or ("no-published-limit", None, None)
                verdicts[name] = {"verdict": verdict, "low": low, "high": high}
            expected.append({**amounts(line, period), "verdicts": verdicts})
        request = {"period_days": period, "stoma": {"kind": stomas[0], "with_urostomy": len(stomas) > 1},
                   "sets": list(SETS), "lines": lines}
        print(json.dumps({"request": request, "lines": expected}))


if __name__ == "__main__":
    main()
