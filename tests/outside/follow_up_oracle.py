#!/usr/bin/env python3
"""Outside check of the follow-up engine: the same rules written again on python-dateutil and PyPI `holidays`.

    follow_up_oracle.py cases [FILE] [--count N] [--seed N]   requests with the plan expected, one JSON object a line
    follow_up_oracle.py rate FILE                         seconds to plan the requests of such a file, and their reviews
    follow_up_oracle.py holidays                              weekday bank holidays 2019-2028, one JSON object a line
    follow_up_oracle.py toml --loaded YYYY-MM-DD              the body of src/follow_up/rules/bank_holidays.toml

Needs python-dateutil and holidays (0.109 was used). Nothing here is taken from the Rust engine: month arithmetic is
dateutil's relativedelta, working days come from the package. Cases keep to the years the table knows.
"""

import argparse
import datetime as dt
import json
import random
import sys
import time

import holidays
from dateutil.relativedelta import relativedelta

FIRST, LAST = 2019, 2028
SUBDIVISIONS = {"england": "ENG", "wales": "WLS", "scotland": "SCT", "northern-ireland": "NIR"}
FACTS = {
    "kind": ["colostomy", "ileostomy", "urostomy"],
    "construction": ["end", "loop", "double-barrel"],
    "permanence": ["permanent", "temporary"],
    "surgery": ["planned", "emergency"],
}
MODES = ["clinic", "phone", "home", "ward", "video"]
ANCHORS = ["surgery", "discharge", "last-completed", "reversal"]
ONE_DAY = dt.timedelta(days=1)


def weekday_holidays(nation):
    """Bank holidays that fall on Monday to Friday: the package also lists the weekend day beside its substitute."""
    table = holidays.GB(subdiv=SUBDIVISIONS[nation], years=range(FIRST, LAST + 1))
    return {day: name for day, name in sorted(table.items()) if day.weekday() < 5 and FIRST <= day.year <= LAST}


HOLIDAYS = {nation: weekday_holidays(nation) for nation in SUBDIVISIONS}


# --- the rules, written again -------------------------------------------------------------------------------------------


def shift(anchor, offset, repeat, k):
    """Occurrence k (from 0) of an offset such as P3M, always from the anchor."""
    unit = {"D": "days", "W": "weeks", "M": "months"}[offset[-1]]
    n = int(offset[1:-1]) + (k * int(repeat[1:-1]) if repeat else 0)
    return anchor + relativedelta(**{unit: n})


def is_open(day, nation, closures):
    return day.weekday() < 5 and day not in HOLIDAYS[nation] and day not in closures


def seek(day, direction, opened):
    while not opened(day):
        day += direction * ONE_DAY
    return day


def place(step, anchor, k, opened):
    """nominal, earliest, latest, planned, outside_window"""
    repeat = step.get("repeat")
    if step["shape"] == "by":
        due = shift(anchor, step["offset"], repeat, k)
        return due, None, due, seek(due, -1, opened), False
    if step["shape"] == "at":
        due = shift(anchor, step["offset"], repeat, k)
        return due, due, due, seek(due, 1, opened), False
    first, last = shift(anchor, step["from"], repeat, k), shift(anchor, step["to"], repeat, k)
    inside = [day for day in days(first, last) if opened(day)]
    if inside:
        return first, first, last, inside[0], False
    before, after = seek(first, -1, opened), seek(last, 1, opened)
    nearest = min((first - before, before), (after - last, after))  # a tie falls to the earlier date
    return first, first, last, nearest[1], True


def days(first, last):
    while first <= last:
        yield first
        first += ONE_DAY


def matches(when, stoma):
    return all(stoma[fact] in ([limit] if isinstance(limit, str) else limit) for fact, limit in when.items())


def expected(request):
    """reviews: step, occurrence, nominal, earliest, latest, planned, mode, outside_window; waiting: step, for"""
    closures = {dt.date.fromisoformat(day) for day in request["closures"]}
    until = dt.date.fromisoformat(request["until"])
    end = dt.date.fromisoformat(request["ended"]["on"]) if "ended" in request else dt.date.max
    anchors = {name: dt.date.fromisoformat(day) for name, day in request["anchors"].items()}

    def opened(day):
        return is_open(day, request["nation"], closures)

    found, waiting = [], []
    for order, step in enumerate(request["protocol"]["steps"]):
        if not matches(step.get("when", {}), request["stoma"]):
            continue
        if step["anchor"] not in anchors:
            waiting.append([step["id"], step["anchor"]])
            continue
        k = 0
        while True:
            nominal, earliest, latest, planned, outside = place(step, anchors[step["anchor"]], k, opened)
            if nominal > until:
                break
            if planned <= end:
                review = [step["id"], k + 1, nominal.isoformat(), earliest and earliest.isoformat(),
                          latest.isoformat(), planned.isoformat(), step["mode"], outside]
                found.append((planned, order, k, review))
            k += 1
            if "repeat" not in step:
                break
    found.sort(key=lambda entry: entry[:3])
    return {"reviews": [entry[3] for entry in found], "waiting": waiting}


# --- random requests ----------------------------------------------------------------------------------------------------


def offset(rng, unit, low, high):
    scale = {"D": 1, "W": 7, "M": 30}[unit]
    return f"P{rng.randint(low // scale, max(low // scale, high // scale))}{unit}"


def random_step(rng, number):
    step = {"id": f"step-{number}", "anchor": rng.choices(ANCHORS, [6, 6, 2, 2])[0], "mode": rng.choice(MODES)}
    step["shape"] = rng.choice(["by", "at", "window"])
    unit = rng.choice("DWM")
    if step["shape"] == "window":
        start = rng.randint(0, {"D": 40, "W": 10, "M": 12}[unit])
        step["from"] = f"P{start}{unit}"
        step["to"] = f"P{start + rng.randint(0, {'D': 4, 'W': 1, 'M': 1}[unit])}{unit}"
    else:
        step["offset"] = offset(rng, unit, 0, 400)
    if rng.random() < 0.4:
        step["repeat"] = f"P{rng.randint({'D': 10, 'W': 2, 'M': 1}[unit], {'D': 90, 'W': 26, 'M': 18}[unit])}{unit}"
    if rng.random() < 0.3:
        step["when"] = {}
        for fact in rng.sample(list(FACTS), rng.randint(1, 2)):
            values = FACTS[fact]
            chosen = rng.sample(values, rng.randint(1, len(values)))
            step["when"][fact] = chosen[0] if len(chosen) == 1 and rng.random() < 0.5 else chosen
    return step


def random_request(rng):
    nation = rng.choice(list(SUBDIVISIONS))
    surgery = dt.date(FIRST, 2, 1) + dt.timedelta(days=rng.randint(0, 2800))
    if rng.random() < 0.3:  # month ends and holidays are where mistakes live
        near = rng.choice(sorted(HOLIDAYS[nation])[4:-20] + [dt.date(year, month, 28) for year in range(2020, 2027)
                                                             for month in range(1, 13)])
        surgery = near + dt.timedelta(days=rng.randint(-2, 3))
    anchors = {"surgery": surgery, "discharge": surgery + dt.timedelta(days=rng.randint(0, 30)),
               "last-completed": surgery + dt.timedelta(days=rng.randint(20, 400)),
               "reversal": surgery + dt.timedelta(days=rng.randint(60, 400))}
    kept = {name: day.isoformat() for name, day in anchors.items() if rng.random() < 0.85}
    limit = dt.date(LAST, 11, 1)
    until = min(limit, surgery + dt.timedelta(days=rng.choice([200, 400, 700, 1500])))
    closures = {surgery + dt.timedelta(days=rng.randint(0, 300)) for _ in range(rng.choice([0, 0, 1, 5, 20]))}
    request = {
        "nation": nation,
        "closures": [day.isoformat() for day in rng.sample(sorted(closures), len(closures))],
        "until": until.isoformat(),
        "stoma": {fact: rng.choice(values) for fact, values in FACTS.items()},
        "anchors": kept,
        "protocol": {"id": "random", "title": "Random", "version": 1,
                     "steps": [random_step(rng, number) for number in range(1, rng.randint(2, 8))]},
    }
    if rng.random() < 0.25:
        request["ended"] = {"reason": rng.choice(["reversed", "died", "moved-away", "declined"]),
                            "on": (surgery + dt.timedelta(days=rng.randint(0, 900))).isoformat()}
    return request


# --- commands -----------------------------------------------------------------------------------------------------------


def cases(arguments):
    rng = random.Random(arguments.seed)
    out = open(arguments.file, "w", encoding="utf-8") if arguments.file else sys.stdout
    with out:
        for _ in range(arguments.count):
            request = random_request(rng)
            out.write(json.dumps({"input": request, "expected": expected(request)}, separators=(",", ":")) + "\n")


def rate(arguments):
    with open(arguments.file, encoding="utf-8") as lines:
        requests = [json.loads(line)["input"] for line in lines]
    began = time.perf_counter()
    reviews = sum(len(expected(request)["reviews"]) for request in requests)
    print(time.perf_counter() - began, reviews)


def holiday_lines(_):
    for nation, table in HOLIDAYS.items():
        for day in table:
            print(json.dumps({"nation": nation, "date": day.isoformat()}))


def plain_name(name):
    """One name in plain words: the package joins the names of a day that is two and says "(observed)"."""
    name = name.split("; ")[-1].replace("Saint", "St").replace("(observed)", "(substitute day)")
    return {"Late Summer Bank Holiday": "Summer bank holiday", "Summer Bank Holiday": "Summer bank holiday",
            "Spring Bank Holiday": "Spring bank holiday", "May Day": "Early May bank holiday",
            "Scotland's participation in the FIFA World Cup final": "World Cup bank holiday",
            "Platinum Jubilee of Elizabeth II": "Platinum Jubilee bank holiday",
            "State Funeral of Queen Elizabeth II": "State funeral bank holiday",
            "Coronation of Charles III": "Coronation bank holiday",
            "New Year Holiday": "2nd January", "New Year Holiday (substitute day)": "2nd January (substitute day)",
            }.get(name, name)


def toml(arguments):
    print(f'''# Bank holidays that fall on a weekday, by nation, {FIRST} to {LAST}. Weekend dates are left out: the clinic is closed anyway.
# Made by tests/outside/follow_up_oracle.py from PyPI holidays {holidays.__version__}; a test compares the two again. That package
# was compared with the list of the UK government (GOV.UK bank holidays, as of 24 November 2025): no date of it was missing.
# It is not the government's own file, hence "second-hand". Later years are not published: add them when they are, and
# look again at the known ones, because one-off days are added and days are moved at short notice.
source = "UK government bank holidays, by way of PyPI holidays {holidays.__version__}"
standing = "second-hand"
loaded = {arguments.loaded}
first_year = {FIRST}
last_year = {LAST}''')
    for nation, table in HOLIDAYS.items():
        print(f"\n[{nation}]")
        for day, name in table.items():
            print(f'{day.isoformat()} = "{plain_name(name)}"')


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(required=True)
    one = commands.add_parser("cases")
    one.add_argument("file", nargs="?")
    one.add_argument("--count", type=int, default=10_000)
    one.add_argument("--seed", type=int, default=20_260_115)
    one.set_defaults(run=cases)
    one = commands.add_parser("rate")
    one.add_argument("file")
    one.set_defaults(run=rate)
    commands.add_parser("holidays").set_defaults(run=holiday_lines)
    one = commands.add_parser("toml")
    one.add_argument("--loaded", required=True, type=dt.date.fromisoformat)
    one.set_defaults(run=toml)
    arguments = parser.parse_args()
    arguments.run(arguments)


if __name__ == "__main__":
    main()
