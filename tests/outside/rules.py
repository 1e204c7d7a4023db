"""Every rule at its boundary, through the whole command.

Each night is written as delimited text with a second on each line, scored by `matins score --json`
with every published rule, and its answer held against what the rule's own words say. The key of
docs/sources.md stands with each group.
"""

import sys

from _night import AWAKE_S, HOUR, Curve, Night, at, every_rule, score_all

MET, NOT_MET, OPEN = "met", "not_met", "cannot_tell"
EIGHT = 8 * HOUR
nights = {}
expected = []  # (source, night, kind, id, what is expected)


def expect(source, name, night, **answers):
    """A night and the answers of some rules."""
    nights[name] = night
    for rule, answer in answers.items():
        expected.append((source, name, "rule", rule, answer))


def figure(source, name, night, **values):
    """A night and the values of some measures; `__` stands for the point."""
    nights[name] = night
    for measure, value in values.items():
        expected.append((source, name, "measure", measure.replace("__", "."), value))


def co2(awake, brink, level, seconds, length=7 * HOUR):
    """Up to the brink, a plateau of so many seconds, and down."""
    curve = Curve(awake).rest(awake, HOUR).ramp(brink, 300).hold(level, seconds).hold(brink, 1)
    return Night(co2=curve.ramp(awake, 300).until(awake, length))


def co2_long(awake, level, minutes, length=7 * HOUR):
    """Exactly the level, a tenth lower for one second in 14 minutes so as not to look frozen."""
    curve = Curve(awake).rest(awake, HOUR).ramp(level - .1, 300)
    for _ in range(minutes // 14):
        curve.hold(level, 839).hold(level - .1, 1)
    return Night(co2=curve.ramp(awake, 300).until(awake, length))


def spo2(brink, level, seconds, length=EIGHT):
    """Down to the brink, a plateau of so many seconds, and up."""
    curve = Curve(97).rest(96, HOUR).ramp(brink, 60).hold(level, seconds).hold(brink, 1)
    return Night(spo2=curve.ramp(96, 60).until(96, length))


def hypoventilation():
    high, rise = "co2_above_55mmhg_10min", "co2_rise_10mmhg_to_above_50mmhg_10min"
    source = "berry-2012"
    expect(source, "55.1x10:00", co2(44, 55, 55.1, 600), **{high: MET})
    expect(source, "55.1x9:59", co2(44, 55, 55.1, 599), **{high: NOT_MET})
    expect(source, "55.0x60:00", co2_long(48, 55, 60), **{high: NOT_MET})
    expect(source, "42-52.1x10:00", co2(42, 51.9, 52.1, 600), **{rise: MET})
    expect(source, "42-52.1x9:59", co2(42, 51.9, 52.1, 599), **{rise: NOT_MET})
    expect(source, "39-50.0x30:00", co2_long(39, 50, 30), **{rise: NOT_MET})
    expect(source, "44-53.9x30:00", co2_long(44, 53.9, 30), **{rise: NOT_MET})


def at_50(seconds):
    """Eight hours with so many seconds at exactly 50.0 mmHg, in two stretches so as not to look frozen."""
    curve = Curve(44)
    for part in (seconds // 2, seconds - seconds // 2):
        curve.rest(44, HOUR).ramp(49.9, 300).hold(50, part).hold(49.9, 1).ramp(44, 300)
    return Night(co2=curve.until(44, EIGHT))


def one_night_three_answers():
    expect("bauman-2013, trucco-2018, orlikowski-2017", "50.0x24min", at_50(1440),
           co2_at_or_above_50mmhg_5pct=MET, co2_above_50mmhg_25pct=NOT_MET,
           co2_at_or_above_49mmhg_peak=MET)
    expect("bauman-2013", "50.0x23:59", at_50(1439),
           co2_at_or_above_50mmhg_5pct=NOT_MET)
    expect("bauman-2013", "88x24min", spo2(89, 88, 1440), spo2_at_or_below_88_5pct=MET)
    expect("bauman-2013", "88x23:59", spo2(89, 88, 1439), spo2_at_or_below_88_5pct=NOT_MET)
    expect("orlikowski-2017", "peak49", co2(42, 48.9, 49, 2), co2_at_or_above_49mmhg_peak=MET)
    expect("orlikowski-2017", "peak48.9", co2(42, 48.8, 48.9, 2), co2_at_or_above_49mmhg_peak=NOT_MET)


def quarter(level, parts):
    """So many thousandths of 24,000 s above 50 mmHg."""
    curve = Curve(45).rest(45, 1800).ramp(50, 300)
    for _ in range(parts):
        curve.hold(level, 23).hold(level + .1, 1)
    return Night(co2=curve.hold(50, 1).ramp(45, 300).until(45, 24_000))


def children():
    rule = "co2_above_50mmhg_25pct"
    expect("jsm-survey-2023", "25.0pct", quarter(50.1, 250), **{rule: NOT_MET})
    expect("jsm-survey-2023", "25.1pct", quarter(50.1, 251), **{rule: MET})
    expect("jsm-survey-2023", "50.0x42pct", co2_long(45, 50, 168, 24_000), **{rule: NOT_MET})
    expect("griffon-2020", "50.1x576s", co2(42, 50, 50.1, 576, EIGHT), co2_above_50mmhg_2pct=MET,
           child_on_support_any=MET)
    expect("griffon-2020", "50.1x575s", co2(42, 50, 50.1, 575, EIGHT), co2_above_50mmhg_2pct=NOT_MET,
           child_on_support_any=NOT_MET)
    expect("griffon-2020", "89x576s", spo2(90, 89, 576), spo2_below_90_2pct=MET)
    expect("griffon-2020", "89x575s", spo2(90, 89, 575), spo2_below_90_2pct=NOT_MET)


def falls(count, depth, length=EIGHT):
    """So many falls from 96 %, 16 s down, 8 s low, 16 s up, evenly spread."""
    curve, every = Curve(97), length // count
    for _ in range(count):
        quiet = (every - 40) // 2
        curve.hold(96, quiet).ramp(96 - depth, 16).hold(96 - depth, 8).ramp(96, 16)
        curve.hold(96, every - 40 - quiet)
    return Night(spo2=curve.until(96, length))


def clustered(clusters, low_in_all):
    """Clusters of six falls of 4 %, 80 s apart, half an hour of quiet between; some reach 89 %."""
    curve, low = Curve(97), low_in_all
    for _ in range(clusters):
        curve.hold(96, 2700)
        for _ in range(6):
            nadir = 89 if low > 0 else 92
            low -= 1
            curve.ramp(nadir, 20).hold(nadir, 5).ramp(96, 15).hold(96, 40)
    return Night(spo2=curve.until(96, EIGHT))


def falls_an_hour():
    for count, answer in ((120, MET), (119, NOT_MET)):
        expect("stoewhas-2017", f"{count}x4pct", falls(count, 4), odi4_at_least_15_per_h=answer)
    for count, answer in ((40, MET), (39, NOT_MET)):
        expect("stoewhas-2017", f"{count}x4pct", falls(count, 4), odi4_at_least_5_per_h=answer)
    for count, answer in ((241, MET), (240, NOT_MET)):
        expect("stoewhas-2017", f"{count}x4pct", falls(count, 4), odi4_more_than_30_per_h=answer)
    for count, answer in ((56, MET), (55, NOT_MET)):
        expect("child-reference-2021", f"{count}x3pct", falls(count, 3), odi3_at_least_7_per_h=answer,
               odi4_at_least_5_per_h=NOT_MET)
    rule = "falls4_3_clusters_3_below_90"
    expect("nixon-2004", "3clusters3low", clustered(3, 3), **{rule: MET})
    expect("nixon-2004", "3clusters2low", clustered(3, 2), **{rule: NOT_MET})
    expect("nixon-2004", "2clusters5low", clustered(2, 5), **{rule: OPEN})


def low_saturation():
    share = "spo2_below_90_30pct"
    expect("lewis-2003", "89x30pct", spo2(90, 89, 8640), **{share: MET})
    expect("lewis-2003", "89x30pct-1s", spo2(90, 89, 8639), **{share: NOT_MET})
    expect("lewis-2003", "90x6h", spo2(91, 90, 6 * HOUR), **{share: NOT_MET})
    expect("erj-open-cohort", "89x2996s", spo2(90, 89, 2996), spo2_below_90_10_4pct=MET)
    expect("erj-open-cohort", "89x2995s", spo2(90, 89, 2995), spo2_below_90_10_4pct=NOT_MET)
    expect("ers-pa4591-2015", "86x30pct+1s", spo2(90, 86, 8641),
           spo2_below_90_30pct_nadir_below_85=NOT_MET)
    curve = Curve(97).rest(96, HOUR).ramp(90, 60).hold(87, 1).hold(84, 8639).hold(87, 1).hold(90, 1)
    expect("ers-pa4591-2015", "84x30pct+1s", Night(spo2=curve.ramp(96, 60).until(96, EIGHT)),
           spo2_below_90_30pct_nadir_below_85=MET)
    expect("icsd3-2014", "88x5:00", spo2(89, 88, 300), spo2_at_or_below_88_5min=MET,
           spo2_at_or_below_88_5min_in_all=MET)
    expect("icsd3-2014", "88x4:59", spo2(89, 88, 299), spo2_at_or_below_88_5min=NOT_MET,
           spo2_at_or_below_88_5min_in_all=NOT_MET)
    curve = Curve(97).rest(96, HOUR).ramp(89, 60).hold(88, 150).hold(89, 1).hold(88, 150).hold(89, 1)
    expect("icsd3-2014", "88x5:00broken", Night(spo2=curve.ramp(96, 60).until(96, EIGHT)),
           spo2_at_or_below_88_5min=NOT_MET, spo2_at_or_below_88_5min_in_all=MET)
    expect("icsd3-2014", "90x5:00", spo2(91, 90, 300), spo2_at_or_below_90_5min=MET)
    expect("trucco-2018", "87x300s", spo2(88, 87, 300), spo2_below_88_5min=NOT_MET)
    expect("trucco-2018", "87x301s", spo2(88, 87, 301), spo2_below_88_5min=MET)
    expect("trucco-2018", "88x900s", spo2(89, 88, 900), spo2_below_88_5min=NOT_MET)


def three_parts():
    rule = "co2_at_or_above_50mmhg_with_spo2_below_88_60min"
    for name, peak, seconds, answer in (("50+60:00", 50, 3600, MET), ("50+59:59", 50, 3599, NOT_MET),
                                        ("49.9+60:00", 49.9, 3600, NOT_MET)):
        night = spo2(89, 87, seconds)
        night.co2 = co2(42, peak - .1, peak, 60, EIGHT).co2
        expect("belgian-support-text", name, night, **{rule: answer})
    expect("belgian-support-text", "89x8641s", spo2(90, 89, 8641), **{rule: MET})
    expect("belgian-support-text", "89x8640s", spo2(90, 89, 8640), **{rule: NOT_MET})


def figures():
    figure("olson-1999", "constant96", Night(spo2=Curve(96).hold(96, HOUR)), spo2__delta_index_12s=0)
    turns = Curve(96)
    for _ in range(150):
        turns.hold(96, 12).hold(94, 12)
    figure("olson-1999", "turns", Night(spo2=turns), spo2__delta_index_12s=2)
    figure("olson-1999, urschitz-2003", "constant90", Night(spo2=Curve().hold(90, AWAKE_S + EIGHT)),
           spo2__time_below_90=0, spo2__seconds_at_or_below_90_per_h=3600)
    for seconds, count in ((12, 1), (10, 1), (9, 0)):
        curve = Curve(96).hold(96, 1800).hold(92, seconds).until(96, HOUR)
        figure("jabfm-definitions", f"92x{seconds}s", Night(spo2=curve), spo2__odi4_mean120=count)
    figure("midgren-1987", "46-52", co2(46, 51.9, 52, 600), tcpco2__rise=6 * .133322387415,
           tcpco2__awake=46 * .133322387415)


def adequacy():
    for name, seconds, decision in (("4h00", 4 * HOUR, "sufficient"), ("3h59", 4 * HOUR - 60, "repeat")):
        nights[name] = Night(spo2=Curve(97).until(96, seconds), co2=Curve(40).until(40, seconds))
        expected.append(("griffon-2020", name, "decision", "decision", decision))


def artefact():
    slope = Curve(97).rest(96, 1800).ramp(90.8, 20).ramp(96.3, 12).until(96, 5 * HOUR)
    nights["slopes"] = Night(spo2=slope)
    expected.append(("fall-slopes-abstract", "slopes", "step", "spo2", False))
    nights["recovery"] = Night(spo2=Curve(97).rest(96, 1800).ramp(88, 30).ramp(96.26, 14).until(96, 5 * HOUR))
    expected.append(("resaturation-abstract", "recovery", "step", "spo2", False))
    nights["jump"] = Night(spo2=Curve(97).rest(96, 1800).hold(60, 5).until(96, 5 * HOUR))
    expected.append(("fall-slopes-abstract", "jump", "step", "spo2", True))


def drift():
    curve = Curve(48).rest(48, 600).ramp(56, 6000).rest(56, 15_600).ramp(52, 6000)
    gases = (f'[[blood_gas]]\nat = "{at(0)}"\npco2_mmhg = 44\n'
             f'[[blood_gas]]\nat = "{at(EIGHT)}"\npco2_mmhg = 46\n')
    nights["drift"] = Night(co2=curve.until(52, EIGHT + 1200), notes=gases)
    # The error runs from -4 mmHg two minutes after the first gas to -6 after the second.
    expected.append(("berlowitz-2011", "drift", "model", "model", "additive"))


def found(scores, kind, key):
    if kind == "rule":
        return next((rule["answer"] for rule in scores["rules"] if rule["id"] == key), "no answer")
    if kind == "measure":
        return scores["measures"][key]["value"]
    if kind == "step":
        return any(span["reason"] == "step" for span in scores["screen"][key]["spans"])
    return {"decision": scores["verdict"]["decision"], "model": scores["correction"]["model"]}[kind]


def same(wanted, got):
    if isinstance(wanted, (int, float)) and not isinstance(wanted, bool):
        return got is not None and abs(got - wanted) < 1e-3
    return got == wanted


for group in (hypoventilation, one_night_three_answers, children, falls_an_hour, low_saturation,
              three_parts, figures, adequacy, artefact, drift):
    group()
scores = score_all(nights, every_rule())
wrong = 0
for source, name, kind, key, wanted in expected:
    got = found(scores[name], kind, key)
    if not same(wanted, got):
        wrong += 1
        print(f"{source}: night {name}: {key}: expected {wanted}, found {got}")
print(f"{len(expected)} checked")
sys.exit(1 if wrong else 0)
