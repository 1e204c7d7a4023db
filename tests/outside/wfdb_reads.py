"""WFDB records read as the general library wfdb reads them, sample for sample.

Asks the engine's example program `samples`, found in the folder EXAMPLES, or given as the argument:
`cargo build -p engine --example samples`.
Open records are looked for in the folder MATINS_OPEN_DATA, else in the `data` folder of any folder beside the
project; without them that part is skipped and says so.
Needs: wfdb, numpy.
"""

import datetime
import json
import os
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import wfdb

HELPER = os.path.join(os.environ["EXAMPLES"], "samples") if "EXAMPLES" in os.environ else sys.argv[1]
OPEN = os.environ.get("MATINS_OPEN_DATA")
RESULTS = {True: 0, False: 0}
RANGES = {"8": None, "16": 15, "24": 23, "32": 31, "61": 15, "80": 7, "160": 15, "212": 11, "310": 9, "311": 9}

# The others are packed here by the specification and read by both.
WRITTEN = ("16", "24", "32", "80", "212")


def case(name, good, detail=""):
    RESULTS[bool(good)] += 1
    print(f"{'ok  ' if good else 'FAIL'} {name}{': ' + str(detail) if detail and not good else ''}")


def ours(path):
    done = subprocess.run([HELPER, str(path) + ".hea"], capture_output=True, text=True)
    return {"error": done.stderr} if done.returncode else json.loads(done.stdout)


def same(name, mine, theirs):
    if "error" in mine:
        case(name, False, mine["error"])
        return
    case(f"{name}: as many signals", len(mine["channels"]) == len(theirs))
    for channel, expected in zip(mine["channels"], theirs):
        found = np.array([np.nan if v is None else v for v in channel["samples"]])
        # (sample - baseline) / gain in both: equal to the last bit but one.
        good = found.shape == expected.shape and np.allclose(found, expected, rtol=1e-14, atol=1e-14, equal_nan=True)
        case(f"{name}: {channel['label']}", good)


def pack(fmt, flat):
    """Bytes of whole numbers in the formats that the library reads and does not write."""
    flat = np.asarray(flat, dtype=np.int64)
    if fmt == "61":
        return flat.astype(">i2").tobytes()
    if fmt == "160":
        return (flat + 32768).astype("<u2").tobytes()
    thirds = np.append(flat, np.zeros(-len(flat) % 3, dtype=np.int64)).reshape(-1, 3) & 0x3FF
    a, b, c = thirds.T
    if fmt == "310":
        words = np.stack([(c & 0x1F) << 11 | a << 1, (c >> 5) << 11 | b << 1], axis=1)
        return words.astype("<u2").tobytes()
    return (a | b << 10 | c << 20).astype("<u4").tobytes()


def write_differences(folder, name, digital):
    """Format 8: the first value stands in the header, the file holds the steps from each to the next."""
    steps = np.diff(digital, axis=0, prepend=digital[:1])
    (folder / f"{name}.dat").write_bytes(steps.astype(np.int8).tobytes())


def write_record(folder, name, fmt, digital):
    count = digital.shape[1]
    gains, baselines, units = [100, 10, 7.5][:count], [0, 3, -2][:count], ["mV", "%", "NU"][:count]
    if fmt in WRITTEN:
        wfdb.wrsamp(name, fs=2, units=units, sig_name=["A", "B", "C"][:count], d_signal=digital,
                    fmt=[fmt] * count, adc_gain=gains, baseline=baselines, write_dir=str(folder),
                    base_time=datetime.time(22, 30, 0), base_date=datetime.date(2026, 1, 10))
        return
    lines = [f"{name} {count} 2 {len(digital)} 22:30:00 10/01/2026"]
    for i in range(count):
        total = (int(digital[:, i].sum()) + 32768) % 65536 - 32768
        lines.append(f"{name}.dat {fmt} {gains[i]}({baselines[i]})/{units[i]} 16 0 {digital[0, i]} {total} 0 "
                     + "ABC"[i])
    (folder / f"{name}.hea").write_text("\n".join(lines) + "\n")
    if fmt == "8":
        write_differences(folder, name, digital)
    else:
        (folder / f"{name}.dat").write_bytes(pack(fmt, digital.reshape(-1)))


def check_format(folder, fmt, length, count):
    """Random whole numbers in each storage format, with its code for a missing sample among them; counts
    that make packed samples end in every way."""
    rng = np.random.default_rng(int(fmt) + length)
    if RANGES[fmt] is None:
        digital = np.cumsum(rng.integers(-100, 100, (length, count)), axis=0)
    else:
        most = 2 ** RANGES[fmt]
        digital = rng.integers(-most + 1, most, (length, count))
        digital[1, 0] = -most
    name = f"f{fmt}_{length}"
    write_record(folder, name, fmt, digital)
    theirs = wfdb.rdrecord(str(folder / name)).p_signal
    mine = ours(folder / name)
    same(f"format {fmt}, {count} signals of {length}", mine, list(theirs.T))
    if "error" not in mine:
        checksum = [f for f in mine["findings"] if "checksum" in f]
        case(f"format {fmt}, {count} signals of {length}: checksums hold", not checksum, checksum)


def check_frames_and_skew(folder):
    rng = np.random.default_rng(3)
    signals = [rng.integers(-99, 99, 40), rng.integers(-99, 99, 10)]
    wfdb.wrsamp("frames", fs=1, units=["mV", "mV"], sig_name=["fast", "slow"], e_d_signal=signals,
                samps_per_frame=[4, 1], fmt=["16", "16"], adc_gain=[10, 10], baseline=[0, 0],
                write_dir=str(folder))
    theirs = wfdb.rdrecord(str(folder / "frames"), smooth_frames=False).e_p_signal
    same("several samples a frame", ours(folder / "frames"), theirs)
    header = folder / "frames.hea"
    header.write_text(header.read_text().replace("16x4 ", "16x4:2 "))
    theirs = wfdb.rdrecord(str(folder / "frames"), smooth_frames=False).e_p_signal
    mine = ours(folder / "frames")
    fast = np.array([np.nan if v is None else v for v in mine["channels"][0]["samples"]])
    case("a late signal is moved forward", np.allclose(fast[:32], theirs[0][:32]) and np.isnan(fast[32:]).all())
    missing = int(np.isnan(theirs[0]).sum())
    if missing != 8:
        print(f"DIFFERENCE: wfdb leaves {missing} of the last 8 samples of a late signal missing, one for each "
              "frame; all 8 lie past the end of the file")


def check_annotations(folder):
    digital = np.full((6000, 1), 970)
    wfdb.wrsamp("notes", fs=1, units=["%"], sig_name=["SpO2"], d_signal=digital, fmt=["16"], adc_gain=[10],
                baseline=[0], write_dir=str(folder))
    wfdb.wrann("notes", "atr", np.array([10, 100, 5000]), symbol=['"', "~", '"'],
               aux_note=["lights off", "", "probe off"], fs=1, write_dir=str(folder))
    theirs = wfdb.rdann(str(folder / "notes"), "atr")
    expected = [(float(s), a.strip("\x00")) for s, a in zip(theirs.sample, theirs.aux_note) if a]
    case("the library reads two notes", expected == [(10.0, "lights off"), (5000.0, "probe off")], expected)
    marks = [(m["kind"], m["start_s"], m["text"]) for m in ours(folder / "notes")["marks"]]
    case("notes become marks", marks == [("lights_out", 10.0, ""), ("note", 5000.0, "probe off")], marks)


def check_open():
    project = pathlib.Path(__file__).resolve().parents[2]
    folders = [pathlib.Path(OPEN)] if OPEN else project.parent.glob("*/data")
    records = sorted(header for folder in folders for header in folder.glob("**/*.hea"))
    if not records:
        print("skipped: no open record at hand; set MATINS_OPEN_DATA to its folder")
        return
    for header in records:
        path = header.with_suffix("")
        theirs = wfdb.rdrecord(str(path)).p_signal
        mine = ours(path)
        codes = {"pulse", "spo2"}
        for channel, expected in zip(mine["channels"], theirs.T):
            found = np.array([np.nan if v is None else v for v in channel["samples"]])
            # A saturation or pulse of 0 is a lost one: missing here, 0 in the library.
            lost = np.where(expected == 0, np.nan, expected) if channel["id"] in codes else expected
            good = found.shape == lost.shape and np.allclose(found, lost, rtol=1e-14, equal_nan=True)
            case(f"{path.name}: {channel['label']}", good)
        case(f"{path.name}: checksums hold", not [f for f in mine["findings"] if "checksum" in f])
        print(f"DIFFERENCE: wfdb gives lost SpO2 of {path.name} as 0; ours as missing, with a finding")


def main():
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        for fmt in RANGES:
            for length, count in ((40, 3), (41, 2), (43, 1)):
                check_format(folder, fmt, length, count)
        check_frames_and_skew(folder)
        check_annotations(folder)
    check_open()
    print(f"{RESULTS[True]} passed, {RESULTS[False]} failed")
    print(f"{RESULTS[True] + RESULTS[False]} checked")
    return 0 if RESULTS[True] and not RESULTS[False] else 1


if __name__ == "__main__":
    sys.exit(main())
