"""Nights written second by second as delimited text, and what the program says of them."""

import concurrent.futures
import json
import os
import pathlib
import subprocess
import sys
import tomllib
from datetime import datetime, timedelta

ROOT = pathlib.Path(__file__).resolve().parents[2]
WORK = pathlib.Path(os.environ["WORK"])
MATINS = sys.argv[1]
START = datetime(2026, 1, 12, 21, 0, 0)
AWAKE_S = 3600  # An awake hour before lights out, so that CO2 has settled when the night begins.
HOUR = 3600


class Curve:
    """One value a second, written from left to right; None is an empty field."""

    def __init__(self, awake=None):
        self.values = []
        if awake is not None:
            self.rest(awake, AWAKE_S)

    def hold(self, level, seconds):
        """Exactly this level."""
        self.values += [level] * seconds
        return self

    def gap(self, seconds):
        return self.hold(None, seconds)

    def rest(self, level, seconds):
        """Near this level, a tenth lower for one second in 300, so that it is not taken for frozen."""
        self.values += [level - 0.1 if s % 300 == 150 else level for s in range(1, seconds + 1)]
        return self

    def ramp(self, level, seconds):
        """Straight to this level, reached with the last second."""
        start = self.values[-1]
        self.values += [start + (level - start) * s / seconds for s in range(1, seconds)] + [level]
        return self

    def until(self, level, after_lights_out_s):
        left = AWAKE_S + after_lights_out_s - len(self.values)
        assert left >= 0, f"the curve is {-left} s too long"
        return self.rest(level, left)

    def __len__(self):
        return len(self.values)


class Night:
    """Saturation in %, CO2 in mmHg, and what stands in the notes."""

    def __init__(self, spo2=None, co2=None, notes=""):
        length = len(spo2 or co2)
        self.spo2 = spo2 or Curve(97).until(96, length - AWAKE_S)
        self.co2 = co2 or Curve(40).until(40, length - AWAKE_S)
        assert len(self.spo2) == len(self.co2)
        self.notes = notes

    def write(self, path):
        field = lambda x: "" if x is None else f"{x:.6g}"
        with open(path, "w", encoding="utf-8") as file:
            file.write("time,SpO2 (%),Pulse (/min),tcPCO2 (mmHg)\n")
            for second, (spo2, co2) in enumerate(zip(self.spo2.values, self.co2.values)):
                time = (START + timedelta(seconds=second)).isoformat()
                file.write(f"{time},{field(spo2)},{60 + second // 20 % 2},{field(co2)}\n")
        notes = path.with_suffix(".notes.toml")
        notes.write_text(f'lights_out = "{at(0)}"\nlights_on = "{at(len(self.spo2) - AWAKE_S)}"\n'
                         'breathing = "air"\n'
                         + self.notes, encoding="utf-8")
        return notes


def at(after_lights_out_s):
    """Local time so many seconds after lights out."""
    return (START + timedelta(seconds=AWAKE_S + after_lights_out_s)).isoformat()


# The published examples are of a sensor that does not err, and some are minutes long, not nights.
SURE = """
[correct]
uncorrected_sd_kpa = { value = 0, source = "department setting" }
drift_sd_kpa_per_8h = { value = 0, source = "department setting" }
[judge]
co2_gap_rounding_kpa = { value = 0, source = "department setting" }
answer_least_min = { value = 0, source = "department setting" }
"""


def every_rule():
    """A criteria file with every published rule, based on the adult set."""
    path = WORK / "every-rule.toml"
    rules = tomllib.loads((ROOT / "criteria/published-rules.toml").read_text(encoding="utf-8"))
    ids = json.dumps([rule["id"] for rule in rules["rule"]])
    path.write_text('name = "every-rule"\nversion = "0"\ntitle = "Every published rule"\n'
                    f'age_band = "adult"\nbased_on = "adult-air"\nrules = {ids}\n{SURE}', encoding="utf-8")
    return path


def score(name, night, criteria):
    """The program's scores of a night, as parsed JSON."""
    path = WORK / f"{name}.csv"
    notes = night.write(path)
    command = [MATINS, "score", str(path), "--notes", str(notes), "--criteria", str(criteria), "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    path.unlink()
    if done.returncode != 0:
        raise RuntimeError(f"{' '.join(command)} ended with {done.returncode}:\n{done.stderr}")
    return json.loads(done.stdout)


def score_all(nights, criteria):
    """The scores of many nights, by name, on all cores."""
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
        jobs = {name: pool.submit(score, name, night, criteria) for name, night in nights.items()}
        return {name: job.result() for name, job in jobs.items()}
