"""EDF and BDF files read as the general libraries edfio and pyedflib read them, sample for sample.

Asks the engine's example program `samples`, found in the folder EXAMPLES, or given as the argument:
`cargo build -p engine --example samples`.
Needs: edfio, pyedflib, numpy.
"""

import datetime
import importlib.metadata
import json
import os
import pathlib
import subprocess
import sys
import tempfile
import warnings

import edfio
import numpy as np
import pyedflib

warnings.filterwarnings("ignore")
HELPER = os.path.join(os.environ["EXAMPLES"], "samples") if "EXAMPLES" in os.environ else sys.argv[1]
RESULTS = {True: 0, False: 0}


def case(name, good, detail=""):
    RESULTS[bool(good)] += 1
    print(f"{'ok  ' if good else 'FAIL'} {name}{': ' + detail if detail and not good else ''}")


def ours(path, *options):
    done = subprocess.run([HELPER, *options, str(path)], capture_output=True, text=True)
    if done.returncode:
        return {"error": done.stderr.strip()}
    return json.loads(done.stdout)


def signals_of_edfio(path):
    read = edfio.read_bdf if path.suffix == ".bdf" else edfio.read_edf
    file = read(path)
    signals = [(s.label, np.asarray(s.digital), np.asarray(s.data)) for s in file.signals]
    notes = [(a.onset, a.duration, a.text) for a in file.annotations]
    return signals, notes


def signals_of_pyedflib(path):
    with pyedflib.EdfReader(str(path)) as file:
        signals = [
            (file.getLabel(i), file.readSignal(i, digital=True), file.readSignal(i))
            for i in range(file.signals_in_file)
        ]
        onsets, durations, texts = file.readAnnotations()
        notes = [(o, d if d >= 0 else None, t) for o, d, t in zip(onsets, durations, texts)]
    return signals, notes


def same_signals(found, expected):
    """Digital values equal; physical ones within 1e-9 of the signal's span, for each library orders the
    same straight line differently and so rounds its last bits its own way."""
    if len(found) != len(expected):
        return f"{len(found)} signals, expected {len(expected)}"
    for mine, (label, digital, physical) in zip(found, expected):
        if mine["label"] != label.strip():
            return f"label {mine['label']}, expected {label}"
        if not np.array_equal(mine["digital"], digital):
            return f"digital samples of {label} differ"
        span = max(1.0, float(np.abs(physical).max()))
        if np.abs(np.array(mine["physical"]) - physical).max() > 1e-9 * span:
            return f"physical samples of {label} differ"
    return ""


def same_notes(found, expected, shift_s=0.0):
    """Onsets within a microsecond: one library keeps them in steps of 100 ns, the other as float."""
    key = lambda n: (round(n[0], 5), n[2])
    mine = sorted(((n["onset_s"] - shift_s, n["duration_s"], n["text"]) for n in found), key=key)
    theirs = sorted(expected, key=key)
    if len(mine) != len(theirs):
        return f"{len(mine)} annotations, expected {len(theirs)}"
    for (at, length, text), (at2, length2, text2) in zip(mine, theirs):
        lengths = abs((length or 0.0) - (length2 or 0.0))
        if abs(at - at2) > 1e-6 or lengths > 1e-6 or text != text2:
            return f"{(at, length, text)}, expected {(at2, length2, text2)}"
    return ""


def legacy(signals, notes, mine, name):
    """pyedflib takes the annotation signal of a plain EDF file for samples; edfio and we read its texts."""
    if mine["format"] != "EDF" or not mine["annotations"] or notes:
        return signals, notes
    print(f"DIFFERENCE: pyedflib takes the annotation signal of {name} for samples: the file is plain EDF")
    kept = [signal for signal in signals if signal[0] != "EDF Annotations"]
    return kept, [(n["onset_s"], n["duration_s"], n["text"]) for n in mine["annotations"]]


def compare(path, name):
    mine = ours(path, "--file")
    if "error" in mine:
        case(name, False, mine["error"])
        return
    # Both libraries count annotations from the first sample; the file from the whole second.
    first_s = mine["record_starts_s"][0]
    for library, read in (("edfio", signals_of_edfio), ("pyedflib", signals_of_pyedflib)):
        signals, notes = read(path)
        if library == "pyedflib":
            signals, notes = legacy(signals, notes, mine, name)
        why = same_signals(mine["signals"], signals)
        case(f"{name}: samples as {library}", not why, why)
        why = same_notes(mine["annotations"], notes, first_s)
        case(f"{name}: annotations as {library}", not why, why)


def carried_files():
    """Every EDF and BDF file inside the installed packages of the two libraries."""
    for package in ("edfio", "pyedflib"):
        for file in importlib.metadata.files(package) or []:
            if file.suffix.lower() in (".edf", ".bdf"):
                yield pathlib.Path(file.locate())


def made_by_edfio(folder):
    rng = np.random.default_rng(7)
    spo2 = edfio.EdfSignal(
        np.round(rng.uniform(80, 100, 600), 1), 1, label="SaO2", physical_dimension="%",
        physical_range=(0, 100), digital_range=(0, 1000),
    )
    co2 = edfio.EdfSignal(
        np.round(rng.uniform(4, 9, 150), 2), 0.25, label="TcCO2", physical_dimension="kPa",
        physical_range=(0, 20), digital_range=(0, 2000),
    )
    pleth = edfio.EdfSignal(rng.normal(0, 1, 60000), 100, label="Pleth", physical_range=(-8, 8))
    notes = [
        edfio.EdfAnnotation(0.5, None, "Lights off"),
        edfio.EdfAnnotation(100, 30.25, "Sleep stage N2"),
        edfio.EdfAnnotation(590, None, "Lights on, naïve: °C"),
    ]
    plain = folder / "plain.edf"
    edfio.Edf([spo2, co2, pleth], data_record_duration=4).write(plain)
    plus = folder / "plus.edf"
    edfio.Edf(
        [spo2, co2, pleth], data_record_duration=20, annotations=notes,
        starttime=datetime.time(22, 30, 0, 250000),
        recording=edfio.Recording(startdate=datetime.date(2026, 1, 10), equipment_code="Monitor_7"),
    ).write(plus)
    wide = folder / "wide.bdf"
    pulse = edfio.BdfSignal(
        rng.uniform(40, 120, 600), 1, label="Pulse", physical_dimension="bpm", physical_range=(0, 300)
    )
    edfio.Bdf([pulse], data_record_duration=10, annotations=notes).write(wide)
    return [plain, plus, wide]


def made_by_pyedflib(folder):
    rng = np.random.default_rng(8)
    made = []
    for kind, ending in ((pyedflib.FILETYPE_EDFPLUS, "edf"), (pyedflib.FILETYPE_BDFPLUS, "bdf")):
        path = folder / f"pyedflib.{ending}"
        bits = 15 if ending == "edf" else 23
        with pyedflib.EdfWriter(str(path), 2, file_type=kind) as file:
            for i, (label, unit, hz, most) in enumerate((("SaO2", "%", 1, 100), ("Flow", "L/min", 25, 60))):
                file.setSignalHeader(i, {
                    "label": label, "dimension": unit, "sample_frequency": hz, "physical_max": most,
                    "physical_min": -most, "digital_max": 2**bits - 1, "digital_min": -(2**bits),
                    "prefilter": "", "transducer": "",
                })
            file.setStartdatetime(datetime.datetime(2024, 10, 27, 0, 30, 0))
            file.writeSamples([rng.uniform(80, 100, 120), rng.uniform(-40, 40, 3000)])
            file.writeAnnotation(3.5, -1, "Lights off")
            file.writeAnnotation(60, 12, "Sleep stage R")
        made.append(path)
    return made


def interrupted(folder):
    """A contiguous file of edfio whose kind and record times are then rewritten: neither library writes
    an interrupted one."""
    data = np.array([97.0, 96.5, 95.0, 94.0, 88.0, 88.5])
    path = folder / "interrupted.edf"
    signal = edfio.EdfSignal(
        data, 1, label="SaO2", physical_dimension="%", physical_range=(0, 100), digital_range=(0, 1000)
    )
    notes = [edfio.EdfAnnotation(i, None, "a long text to make room") for i in range(6)]
    edfio.Edf([signal], data_record_duration=2, annotations=notes).write(path)
    raw = bytearray(path.read_bytes())
    raw[192:197] = b"EDF+D"
    width = (len(raw) - 768) // 3
    for record, onset in enumerate((b"+0", b"+2", b"+600")):
        at = 768 + record * width + 4
        raw[at : at + width - 4] = (onset + b"\x14\x14\x00").ljust(width - 4, b"\x00")
    path.write_bytes(raw)
    return path, data


def check_interrupted(folder):
    path, data = interrupted(folder)
    night = ours(path)
    samples = night["channels"][0]["samples"]
    held = {i: v for i, v in enumerate(samples) if v is not None}
    places = {0: 97.0, 1: 96.5, 2: 95.0, 3: 94.0, 600: 88.0, 601: 88.5}
    good = len(samples) == 602 and held.keys() == places.keys()
    good = good and all(abs(held[i] - places[i]) < 1e-9 for i in places)
    case("interrupted file: six samples at their own times, 596 missing", good, str(held))
    joined = edfio.read_edf(path).signals[0].data
    if len(joined) == len(data):
        print(f"DIFFERENCE: edfio closes the gap: {len(joined)} samples in a row, ours spans {len(samples)} s")
    try:
        pyedflib.EdfReader(str(path)).close()
    except OSError as error:
        print(f"DIFFERENCE: pyedflib refuses the interrupted file: {str(error).splitlines()[-1][-80:]}")


def main():
    files = list(carried_files())
    case("the libraries carry files", len(files) > 0)
    for path in files:
        compare(path, f"{path.parent.parent.name}/{path.name}")
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        for path in made_by_edfio(folder) + made_by_pyedflib(folder):
            compare(path, path.name)
        check_interrupted(folder)
    print(f"{RESULTS[True]} passed, {RESULTS[False]} failed")
    print(f"{RESULTS[True] + RESULTS[False]} checked")
    return 0 if RESULTS[True] and not RESULTS[False] else 1


if __name__ == "__main__":
    sys.exit(main())
