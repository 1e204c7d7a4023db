"""Gas physiology and units against published numbers and against arithmetic written here.

The published numbers carry the key of docs/sources.md they come from. The arithmetic is written anew
from the publications' formulas with a numerical library, over whole ranges, and shares no code with
the engine. Called with the `matins` program; uses the engine's example `physiology`.
"""

import json
import os
import subprocess
import sys

import numpy as np
from scipy.optimize import brentq

MMHG = 0.133322387415  # kPa, nist-sp811
checked = 0
failures = []


def ask(calls):
    """The engine's answers to a list of [function, numbers…]."""
    program = os.path.join(os.environ["EXAMPLES"], "physiology")
    lines = "\n".join(json.dumps([name, *map(float, numbers)]) for name, *numbers in calls)
    done = subprocess.run([program], input=lines + "\n", capture_output=True, text=True, check=True)
    return [float(line) for line in done.stdout.split()]


def hold(source, calls, expected, within):
    """Every answer lies within so much of what is expected."""
    global checked
    found = ask(calls)
    assert len(found) == len(expected) == len(calls)
    for call, wanted, got in zip(calls, expected, found):
        checked += 1
        if not abs(got - wanted) <= within:
            failures.append(f"{source}: {call}: expected {wanted}, found {got}, allowed {within}")


def published():
    """Numbers as printed, or as the formula gives them to the digits shown."""
    hold("nist-sp811", [["kpa_from_mmhg", x] for x in (49, 50, 55, 10, 45)],
         [6.5328, 6.6661, 7.3327, 1.3332, 5.9995], 5.1e-5)
    hold("nist-sp811", [["mmhg_from_kpa", x] for x in (6.5, 6, 7, 8, 1)],
         [48.754, 45.0037, 52.504, 60.005, 7.500615758], 5.1e-4)
    hold("severinghaus-1979, equation 1",
         [["saturation_from_po2", p] for p in (10, 20, 30, 40, 50, 60, 70, 80, 90, 100, 150)],
         [.09653, .31977, .57377, .74946, .84990, .90580, .93791, .95725, .96945, .97747, .99316],
         5.1e-6)
    saturations = (.80, .85, .88, .90, .92, .94, .95, .96, .98)
    hold("severinghaus-1979, equation 1 solved",
         [["po2_from_saturation", s] for s in (*saturations, .5)],
         [44.303, 50.013, 54.670, 58.655, 63.787, 70.871, 75.668, 81.898, 104.188, 26.857], 5.1e-4)
    hold("severinghaus-1979, equation 2", [["po2_from_saturation_published", s] for s in saturations],
         [44.336, 49.768, 54.182, 57.983, 62.937, 69.916, 74.741, 81.127, 104.961], 5.1e-4)
    hold("severinghaus-1979, equation 3", [["ln_po2_per_celsius", p] for p in (40, 60, 100)],
         [.07099, .07097, .07076], 5.1e-6)
    hold("severinghaus-1979, equation 4", [["ln_po2_per_ph", p] for p in (26.6, 60, 100)],
         [-1.2, -1.0385, -.9241], 5.1e-5)
    blood = ((7.40, 40), (7.36, 50), (7.38, 55), (7.35, 60))
    hold("cornell-acid-base, solubility 0.0307", [["bicarbonate_from", *b, .0307] for b in blood],
         [24.502, 27.932, 32.174, 32.756], 5.1e-4)
    hold("cornell-acid-base, solubility 0.03", [["bicarbonate_from", *b, .03] for b in blood],
         [23.943, 27.296, 31.440, 32.009], 5.1e-4)
    hold("cornell-acid-base, base excess",
         [["standard_base_excess", h, ph] for h, (ph, _) in
          zip((24.502, 27.932, 32.174, 32.756), blood)], [.095, 2.730, 6.944, 7.071], 1.1e-3)
    for exponent, factors in ((.019, (1.24451, 1.30017, 1.35831)), (.0185, (1.23737, 1.29122, 1.34741))):
        hold("bradley-1956", [["tc_temperature_factor", t, exponent] for t in (42, 43, 44)],
             factors, 5.1e-6)
    hold("severinghaus-1982", [["tc_temperature_factor_compound", t] for t in (42, 43, 44)],
         [1.24618, 1.30226, 1.36086], 5.1e-6)
    hold("eberhard-2007", [["tc_subtract_then_divide", 70, 5, 1.30017],
                           ["tc_divide_then_subtract", 70, 5, 1.30017],
                           ["tc_subtract_then_divide", 45, 5, 1.30017]],
         [49.993, 48.839, 30.765], 1.1e-3)
    breaths = ((.21, 760, .8, 40), (.21, 760, .8, 60), (.21, 760, .8, 80), (.28, 760, .8, 60),
               (.21, 630, .8, 40))
    hold("alveolar-gas", [["alveolar_po2", *b] for b in breaths],
         [101.83, 77.88, 53.93, 128.84, 74.53], 5.1e-3)
    hold("alveolar-gas, short form", [["alveolar_po2_short", *b] for b in breaths[:2]],
         [99.73, 74.73], 5.1e-3)


def independent():
    """The formulas over whole ranges, written anew."""
    po2 = np.linspace(5, 200, 400)
    curve = lambda p: 1 / (23400 / (p**3 + 150 * p) + 1)
    hold("equation 1", [["saturation_from_po2", p] for p in po2], curve(po2), 1e-12)
    saturation = np.linspace(.05, .995, 190)
    roots = [brentq(lambda p: curve(p) - s, 1e-3, 5000, xtol=1e-12, rtol=1e-14) for s in saturation]
    hold("equation 1 solved by a root finder",
         [["po2_from_saturation", s] for s in saturation], roots, 1e-7)
    by_two = np.exp(.385 * np.log(1 / (1 / saturation - 1)) + 3.32 - 1 / (72 * saturation)
                    - .17 * saturation**6)
    hold("equation 2", [["po2_from_saturation_published", s] for s in saturation], by_two, 1e-9)
    hold("equation 3", [["ln_po2_per_celsius", p] for p in po2],
         .058 / ((.243 * po2 / 100)**3.88 + 1) + .013, 1e-12)
    hold("equation 4", [["ln_po2_per_ph", p] for p in po2], (po2 / 26.6)**.184 - 2.2, 1e-12)
    shifted = curve(po2 * np.exp(-((po2 / 26.6)**.184 - 2.2) * (7.25 - 7.4)))
    hold("equations 1 and 4", [["saturation_at_ph", p, 7.25] for p in po2], shifted, 1e-12)
    generator = np.random.default_rng(1)
    for ph, temp, excess, dpg in zip(generator.uniform(7.1, 7.6, 30), generator.uniform(34, 40, 30),
                                     generator.uniform(-8, 8, 30), generator.uniform(3, 7, 30)):
        p = generator.uniform(2, 18, 10)
        a = 1.04 * (7.4 - ph) + .005 * excess + .07 * (dpg - 5)
        x = np.log(p) - (1.946 + a + .055 * (temp - 37))
        y = 1.875 + x + (3.5 + a) * np.tanh(.5343 * x)
        hold("siggaard-andersen-1984", [["saturation_tanh", q, ph, temp, excess, dpg] for q in p],
             1 / (1 + np.exp(-y)), 1e-12)
    ph, pco2 = generator.uniform(7.0, 7.7, 200), generator.uniform(15, 110, 200)
    bicarbonate = .0307 * pco2 * 10**(ph - 6.1)
    hold("Henderson-Hasselbalch", [["bicarbonate_from", a, b, .0307] for a, b in zip(ph, pco2)],
         bicarbonate, 1e-10)
    hold("Henderson-Hasselbalch back", [["ph_from", a, b, .0307] for a, b in zip(bicarbonate, pco2)],
         ph, 1e-12)
    haemoglobin, s = generator.uniform(6, 20, 200), generator.uniform(.6, 1, 200)
    excess = ((1 - .0143 * haemoglobin) * (.0304 * pco2 * 10**(ph - 6.1) - 24.26
              + (9.5 + 1.63 * haemoglobin) * (ph - 7.4)) - .2 * haemoglobin * (1 - s))
    hold("lang-zander-2002", [["base_excess_zander", *row] for row in zip(ph, pco2, haemoglobin, s)],
         excess, 1e-10)
    mmhg = np.linspace(1, 150, 300)
    hold("there", [["kpa_from_mmhg", x] for x in mmhg], mmhg * MMHG, 1e-12)
    hold("and back", [["mmhg_from_kpa", x * MMHG] for x in mmhg], mmhg, 1e-10)


published()
independent()
for failure in failures:
    print(failure)
print(f"{checked} checked")
sys.exit(1 if failures else 0)
