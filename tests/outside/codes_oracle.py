"""What the ICD-10-CM data of the package simple-icd-10-cm says about codes: one JSON line for each code on standard input.

Exists, billable (a leaf), its title, and for the `Excludes1` check the codes that it and its parents exclude.
"""

import json
import sys

import simple_icd_10_cm as icd


def excludes1(code):
    """Excludes1 notes of a code and of every category above it."""
    notes = list(icd.get_excludes1(code))
    for parent in icd.get_ancestors(code):
        notes += icd.get_excludes1(parent)
    return notes


for line in sys.stdin:
    code = line.rstrip("\n")
    answer = {"code": code, "exists": icd.is_valid_item(code)}
    if answer["exists"]:
        answer |= {
            "leaf": icd.is_leaf(code),
            "title": icd.get_description(code),
            "excludes1": excludes1(code),
        }
    print(json.dumps(answer))
