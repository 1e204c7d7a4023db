"""EDF+ files written by the engine read by the general libraries edfio and pyedflib as we read them.

Asks the engine's example program `samples`, found in the folder EXAMPLES, or given as the argument:
`cargo build -p engine --example samples`.
Needs: edfio, pyedflib, numpy.
"""

import datetime
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
    print(f"{'ok  ' if good else 'FAIL'} {name}{': ' + str(detail) if detail and not good else ''}")


def run(*args):
    return subprocess.run([HELPER, *map(str, args)], capture_output=True, text=True, check=True).stdout


def night(folder):
    """A made night of ten minutes, written by edfio: three rates, a hole in SpO2 coded as 0, marks."""
    rng = np.random.default_rng(11)
    spo2 = np.round(rng.uniform(85, 99, 600), 1)
    spo2[100:190] = 0
    signals = [
        ("SpO2", spo2, 1, "%", (0, 100), (0, 1000)),
        ("Pulse", np.round(rng.uniform(50, 90, 300)), 0.5, "bpm", (0, 300), (0, 300)),
        ("tcPCO2", np.round(rng.uniform(5, 7, 150), 2), 0.25, "kPa", (0, 20), (0, 2000)),
        ("Pleth", rng.normal(0, 1, 15000), 25, "", (-8, 8), (-32768, 32767)),
    ]
    path = folder / "night.edf"
    edfio.Edf(
        [
            edfio.EdfSignal(data, hz, label=label, physical_dimension=unit, physical_range=physical,
                            digital_range=digital)
            for label, data, hz, unit, physical, digital in signals
        ],
        annotations=[
            edfio.EdfAnnotation(5, None, "Lights off"),
            edfio.EdfAnnotation(60.5, 30, "Sleep stage N2"),
            edfio.EdfAnnotation(595, None, "Lights on"),
        ],
        starttime=datetime.time(22, 30, 0, 250000),
        recording=edfio.Recording(startdate=datetime.date(2026, 1, 10)),
        data_record_duration=20,
    ).write(path)
    return path


def check(name, path, signals, notes, start):
    expected = json.loads(run(path))
    case(f"{name}: four signals", len(signals) == 4, len(signals))
    for mine, (label, data) in zip(expected["channels"], signals):
        ours = np.array([np.nan if v is None else v for v in mine["samples"]])
        held = ~np.isnan(ours)
        case(f"{name}: {label}: as many samples", len(ours) == len(data), (len(ours), len(data)))
        # The same straight line, its last bits rounded in another order.
        worst = float(np.abs(ours[held] - data[held]).max())
        case(f"{name}: {label}: samples equal", worst < 1e-9 * 100, worst)
        missing = np.asarray(data)[~held]
        case(f"{name}: {label}: missing samples below physiology", (missing < 0).all() or label == "Pleth")
    texts = [(round(at, 5), length, text) for at, length, text in notes]
    for wanted in ((5, None, "Lights off"), (60.5, 30, "Sleep stage N2"), (595, None, "Lights on"),
                   (100, 90, "Not valid: SaO2")):
        case(f"{name}: annotation {wanted}", wanted in texts, texts)
    wanted = datetime.datetime(2026, 1, 10, 22, 30, 0, 250000)
    if name == "pyedflib" and start.microsecond == 25000:
        print("DIFFERENCE: pyedflib gives a tenth of the starting fraction, 0.025 s for 0.25 s: it divides "
              "its count of 100 ns by 100, not 10")
        start = start.replace(microsecond=250000)
    case(f"{name}: start", start == wanted, start)


def original_kept(before, after):
    """What was written is what was read before, to half a step of the scale written."""
    steps = {"spo2": 0.01, "pulse": 0.1, "tcpco2": 0.001, "pleth": 0.001}
    for old, new in zip(before["channels"], after["channels"]):
        a = np.array([np.nan if v is None else v for v in old["samples"]])
        b = np.array([np.nan if v is None else v for v in new["samples"]])
        same = np.array_equal(np.isnan(a), np.isnan(b))
        worst = float(np.nanmax(np.abs(a - b))) if same else float("inf")
        case(f"{old['id']}: kept through the file", worst <= steps[old["id"]] / 2 + 1e-9, worst)


def check_interrupted(folder, cut):
    """A lone signal with a hole of nine minutes: the records inside it are left out and told."""
    path = folder / "hole.edf"
    data = np.full(900, 97.0)
    data[130:670] = 0
    edfio.Edf([edfio.EdfSignal(data, 1, label="SaO2", physical_dimension="%", physical_range=(0, 100),
                               digital_range=(0, 1000))], data_record_duration=10).write(path)
    run("--edf-interrupted", path, cut)
    file = edfio.read_edf(cut)
    case("interrupted: edfio sees that it is", not file.is_continuous)
    case("interrupted: records inside the hole left out", file.num_data_records * 60 == 900 - 480,
         file.num_data_records)
    original_kept(json.loads(run(path)), json.loads(run(cut)))


def main():
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        path, out, cut = night(folder), folder / "out.edf", folder / "cut.edf"
        run("--edf", path, out)
        original_kept(json.loads(run(path)), json.loads(run(out)))
        file = edfio.read_edf(out)
        notes = [(a.onset, a.duration, a.text) for a in file.annotations]
        check("edfio", out, [(s.label, s.data) for s in file.signals], notes, file.startdatetime)
        with pyedflib.EdfReader(str(out)) as file:
            signals = [(file.getLabel(i), file.readSignal(i)) for i in range(file.signals_in_file)]
            notes = [(o, d if d >= 0 else None, t) for o, d, t in zip(*file.readAnnotations())]
            check("pyedflib", out, signals, notes, file.getStartdatetime())
        check_interrupted(folder, cut)
    print(f"{RESULTS[True]} passed, {RESULTS[False]} failed")
    print(f"{RESULTS[True] + RESULTS[False]} checked")
    return 0 if RESULTS[True] and not RESULTS[False] else 1


if __name__ == "__main__":
    sys.exit(main())
