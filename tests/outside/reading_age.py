"""The patient's leaflet against the published formulas of how hard a text is.

Flesch-Kincaid grade (`kincaid-1975`), Flesch reading ease (`flesch-1948`) and SMOG (`mclaughlin-1969`).
Syllables are counted by syllapy, a general library with a dictionary, not by us. A child of eleven is in the sixth
grade; reading ease of 80 and more is "easy" in Flesch's own table.

Each section is held to the grade by itself, so that an easy one cannot hide a hard one.
Needs: syllapy. Takes no example.
"""

import pathlib
import re
import sys
import tomllib

import syllapy

ROOT = pathlib.Path(__file__).resolve().parents[2]
GRADE = 6.0
EASE = 80.0
# SMOG gives the grade at which all is understood, some two grades above the others; it asks for
# thirty sentences and is given on the whole text only.
SMOG = 8.0
# What stands in a place is the department's, not the text's: one short word takes its room.
PLACE = re.compile(r"\{[a-z_]+\}")
RESULTS = {True: 0, False: 0}


def case(name, good, detail):
    RESULTS[bool(good)] += 1
    print(f"{'ok  ' if good else 'FAIL'} {name}: {detail}")


def sentences(lines):
    """Sentences as lists of words; a heading and a step end a sentence as a full stop does."""
    for line in lines:
        for sentence in re.split(r"[.!?:]+(?:\s|$)", PLACE.sub("it", line)):
            words = re.findall(r"[A-Za-z]+(?:'[a-z]+)?", sentence)
            if words:
                yield words


def counts(lines):
    all_sentences = list(sentences(lines))
    lengths = [syllapy.count(word.lower()) for sentence in all_sentences for word in sentence]
    return len(all_sentences), len(lengths), sum(lengths), sum(length >= 3 for length in lengths)


def grade(lines):
    count, words, spoken, _ = counts(lines)
    return 0.39 * words / count + 11.8 * spoken / words - 15.59


def ease(lines):
    count, words, spoken, _ = counts(lines)
    return 206.835 - 1.015 * words / count - 84.6 * spoken / words


def smog(lines):
    count, _, _, long = counts(lines)
    return 1.0430 * (long * 30 / count) ** 0.5 + 3.1291


def words_of(section):
    return [*section.get("lines", []), *section.get("steps", []), *section.get("after", [])]


def questions():
    source = (ROOT / "crates/engine/src/notes/diary.rs").read_text(encoding="utf-8")
    return re.findall(r'asks: "([^"]+)"', source)


def main():
    text = tomllib.loads((ROOT / "crates/paper/texts/leaflet-en.toml").read_text(encoding="utf-8"))
    parts = {"the top": [text["title"], *text["lines"]], "the diary's questions": questions()}
    for section in text["section"]:
        parts[f"section {section['id']}"] = [section["heading"], *words_of(section)]
    whole = [line for lines in parts.values() for line in lines]
    for name, lines in parts.items():
        case(name, grade(lines) <= GRADE, f"grade {grade(lines):.1f}, at most {GRADE}")
    case("the whole, grade", grade(whole) <= GRADE, f"{grade(whole):.1f}, at most {GRADE}")
    case("the whole, ease", ease(whole) >= EASE, f"{ease(whole):.0f}, at least {EASE:.0f}")
    case("the whole, SMOG", smog(whole) <= SMOG, f"{smog(whole):.1f}, at most {SMOG}")

    letters = tomllib.loads((ROOT / "crates/paper/texts/letters-en.toml").read_text(encoding="utf-8"))
    for section in letters["section"]:
        lines = [section["heading"], *words_of(section)]
        case(f"letter {section['id']}", grade(lines) <= GRADE, f"grade {grade(lines):.1f}, at most {GRADE}")

    # The check itself: hard words in one long sentence must not pass.
    hard = ["The transcutaneous monitor determines hypoventilation, necessitating immediate evaluation of ventilation."]
    case("a hard sentence is found hard", grade(hard) > 12 and ease(hard) < 30, f"grade {grade(hard):.1f}")

    print(f"{sum(RESULTS.values())} checked")
    return 1 if RESULTS[False] else 0


if __name__ == "__main__":
    sys.exit(main())
