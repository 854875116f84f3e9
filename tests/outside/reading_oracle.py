"""Reading grades by other people's packages: texts in a JSON file, each a list of sentences with the words set apart by
blanks; an answer for each on standard output.

`syllapy` (MIT) knows the syllables of common words from a word list; with them the formulas of Flesch and Kincaid (1975)
and of SMOG (1969) are worked out again. `textstat` (MIT) works the grade out as a whole, counting syllables by the
hyphenation of `pyphen`, which finds too few of them ("stoma" has one), so that its grades are lower."""

import json
import math
import sys

import syllapy
import textstat


def measure(sentences):
    words = [word for sentence in sentences for word in sentence.split()]
    counts = [syllapy.count(word) for word in words]
    long_words = sum(1 for count in counts if count >= 3)
    text = ". ".join(sentences) + "."
    return {
        "words": len(words),
        "sentences": len(sentences),
        "syllables": sum(counts),
        "kincaid": 0.39 * len(words) / len(sentences) + 11.8 * sum(counts) / len(words) - 15.59,
        "smog": 1.0430 * math.sqrt(long_words * 30 / len(sentences)) + 3.1291,
        "textstat": textstat.flesch_kincaid_grade(text),
    }


with open(sys.argv[1], encoding="utf-8") as file:
    json.dump([measure(text) for text in json.load(file)], sys.stdout)
