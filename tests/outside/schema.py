"""Every made night, and every outside recording with SpO2, scored and reported, fits its schema.

Each schema in schemas/ names its documents by its `$id`: `matins.scores/1` and so on. A schema that
held nothing is a failure, and so is a schema that is itself no schema.
"""

import json
import os
import pathlib
import subprocess
import sys

import jsonschema
import pyedflib.data
import wfdb  # noqa: F401 - its presence is checked here once; its files are used by the wfdb checks.

ROOT = pathlib.Path(__file__).resolve().parents[2]
WORK = pathlib.Path(os.environ["WORK"])
MATINS = sys.argv[1]
checked, wrong, used = 0, 0, set()


def matins(*arguments):
    done = subprocess.run([MATINS, *map(str, arguments)], capture_output=True, text=True, check=False)
    return done.returncode, done.stdout, done.stderr


def schemas():
    """The committed schemas by the value of `schema` that their documents carry."""
    found = {}
    for path in sorted((ROOT / "schemas").glob("*.json")):
        schema = json.loads(path.read_text(encoding="utf-8"))
        kind = jsonschema.validators.validator_for(schema)
        kind.check_schema(schema)
        found[path.stem] = kind(schema)
    assert found, "no schema in schemas/"
    return found


def hold(text, name, what):
    """One document against one schema."""
    global checked, wrong
    checked += 1
    used.add(name)
    for error in list(SCHEMAS[name].iter_errors(json.loads(text)))[:5]:
        wrong += 1
        print(f"{what}: {error.json_path}: {error.message[:200]}")


def night(path, *options):
    """Scores and report of a night."""
    status, out, err = matins("score", path, "--json", *options)
    if status != 0:
        return status, err
    hold(out, SCORES, f"score {path.name}")
    status, out, err = matins("report", path, "--format", "json", "-o", "-", *options)
    if status == 0:
        hold(out, REPORT, f"report {path.name}")
    return status, err


def names_of_sleepers():
    status, out, err = matins("simulate", "--list")
    assert status == 0, err
    names = [line.split()[0] for line in out.splitlines() if line.strip()]
    assert len(names) >= 10, f"only {len(names)} sleepers: {names}"
    return names


def made_nights():
    """Each sleeper's night as text and as EDF, with its notes."""
    global wrong
    for name in names_of_sleepers():
        for ending in ("csv", "edf"):
            path = WORK / ending / f"{name}.{ending}"
            path.parent.mkdir(exist_ok=True)
            status, _, err = matins("simulate", "--sleeper", name, "--seed", 11, "-o", path)
            assert status == 0, err
            notes = path.with_suffix(".notes.toml")
            options = ["--notes", notes] if notes.exists() else []
            status, err = night(path, *options)
            if status != 0:
                wrong += 1
                print(f"{path.name}: ended with {status}: {err}")
            truth = path.with_suffix(".truth.json")
            if ending == "csv" and truth.exists() and "truth" in SCHEMAS:
                hold(truth.read_text(encoding="utf-8"), "truth", truth.name)


def outside_recordings():
    """Files that the reference libraries' packages carry: with SpO2 they score, without they say so."""
    global wrong
    folder = pathlib.Path(pyedflib.data.__file__).parent
    files = sorted(p for p in folder.rglob("*") if p.suffix.lower() in (".edf", ".bdf"))
    for path in files:
        status, err = night(path)
        if status not in (0, 3, 4):
            wrong += 1
            print(f"{path.name}: ended with {status}: {err}")
    print(f"{len(files)} outside recordings tried")


SCHEMAS = schemas()
SCORES = next(name for name in SCHEMAS if "score" in name)
REPORT = next(name for name in SCHEMAS if "report" in name)
made_nights()
outside_recordings()
for name in sorted(set(SCHEMAS) - used - {"truth"}):
    wrong += 1
    print(f"schema {name} held no document")
print(f"{checked} checked")
sys.exit(1 if wrong else 0)
