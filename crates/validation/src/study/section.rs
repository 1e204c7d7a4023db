//! The study's part of `docs/validation.md`.

use std::fmt::Write as _;

use crate::study::belief::CAUSES;
use crate::study::held_out;
use crate::study::results::{Ablation, Kept, Results};
use crate::study::tally::{Errors, Share};
use crate::study::targets::targets;

/// The section, from its heading on.
pub fn section(kept: &Kept) -> String {
    let results = &kept.held_out;
    let mut text = head(results);
    targets_table(&mut text, results);
    nights(&mut text, results);
    belief(&mut text, results);
    reasons(&mut text, results);
    figures(&mut text, results);
    shares_of_error(&mut text, results);
    lag(&mut text, results);
    rules(&mut text, results);
    open(&mut text, results);
    verdicts(&mut text, results);
    patterns(&mut text, results);
    ablations(&mut text, kept);
    worst(&mut text, results);
    ranges(&mut text);
    text
}

fn head(results: &Results) -> String {
    format!(
        "\n# Made nights against their truth\n\n\
         {} nights were made by the virtual sleepers and sensors of `simulate`, which know nothing of screening or scoring, and held against their truth.\n\
         Their sensors, mishaps, events, evenings and diaries were drawn from the ranges at the end of this page, with seeds from 100000 on; limits were set on other nights (seeds 1 to 999, the named sleepers with their own sensors).\n\
         Made nights are models: these figures say how well the tool undoes faults of the kinds that are modelled, not how it fares on patients.\n\
         Run again with `cargo run --release -p validation -- study --nights {} --threads 2 --write crates/validation/results/study.json`; this page is written from that file.\n\n\
         The nights are judged with the shipped sets: CO2 carries a band whether or not anything checked its sensor. The run that is kept was made before the band became the intersection of all that is known and blood gases stopped being left out (CHANGELOG, *Results*): its figures of CO2 bands and of open answers are those of the wider bands before, and stand until it is run again.\n\n\
         What is counted:\n\n\
         - A **second** of a channel is *wrong* when it lies in a span of the truth, so that what the monitor wrote is not its sensor's honest reading; it *matters* when there is no number or it lies 2 %, 5 /min or 0.1 kPa or more off the honest reading (our choice). Any other second is *honest*.\n\
         - A **minute** is wrong, or not believed, when at least half of its seconds are.\n\
         - *Off, settling, slips and dropouts* are together the spans of those causes and of missing rows, and seconds in any span without a number.\n\
         - **The truth of a figure or answer** is what the same rules give on a perfect sensor's recording, everything believed, over the same analysis period; CO2 is that of the skin.\n\
         - **The monitor alone** is what the same oximeter (averaging, rounding, bias, noise) gives without any mishap; nobody can take that out afterwards. What is found less that is the tool's own error. **With true belief** is the recording as it is, believed exactly where the truth says so: what is left then is not screening's doing.\n\
         - Intervals are of 95 %. Those of shares of time are Wilson's (`newcombe-1998`) on as many independent seconds as would spread as the nights do; those of bias and limits of agreement follow `bland-altman-1999`.\n",
        results.nights, results.nights
    )
}

fn line(text: &mut String, line: std::fmt::Arguments<'_>) {
    let _ = text.write_fmt(line);
    text.push('\n');
}

/// A heading, words under it, and the head of a table; the first `words` columns hold words.
fn table(text: &mut String, title: &str, under: &str, columns: &[&str], words: usize) {
    line(text, format_args!("\n## {title}\n"));
    if !under.is_empty() {
        line(text, format_args!("{under}\n"));
    }
    line(text, format_args!("| {} |", columns.join(" | ")));
    let sides = (0..columns.len()).map(|i| if i < words { "---" } else { "---:" });
    line(text, format_args!("|{}|", sides.collect::<Vec<_>>().join("|")));
}

fn targets_table(text: &mut String, results: &Results) {
    text.push_str(
        "\n## Targets\n\n| | sought | found | | cause where missed |\n|---|---|---|---|---|\n",
    );
    for target in targets(results) {
        let (mark, cause) = if target.met { ("met", "") } else { ("**missed**", target.cause) };
        line(
            text,
            format_args!(
                "| {} | {} | {} | {mark} | {cause} |",
                target.what, target.sought, target.found
            ),
        );
    }
}

/// A share in % with its interval.
fn percent(share: Option<Share>) -> String {
    share.filter(|share| share.of > 0).map_or_else(
        || "–".to_owned(),
        |s| format!("{:.2} ({:.2}–{:.2})", 100.0 * s.value(), 100.0 * s.low, 100.0 * s.high),
    )
}

fn nights(text: &mut String, results: &Results) {
    let under =
        "Nights of which a channel is believed for 90 % of the analysis period or more, in %.";
    table(text, "Nights well believed", under, &["channel", "by the tool", "by the truth"], 1);
    for row in &results.nights_believed {
        let (found, given) = (percent(Some(row.found)), percent(Some(row.given)));
        line(text, format_args!("| {} | {found} | {given} |", row.channel));
    }
}

fn belief(text: &mut String, results: &Results) {
    for (grain, title) in [("minute", "Belief by the minute"), ("second", "Belief by the second")] {
        let under = "Honest time: % believed. All else, where it matters: % not believed.";
        table(text, title, under, &["", "all", "SpO2", "pulse", "CO2"], 1);
        let mut whats = vec![
            ("honest time", "honest believed".to_owned()),
            ("off, settling, slips and dropouts", "together".to_owned()),
            ("everything wrong", "wrong".to_owned()),
            ("everything wrong that matters", "wrong and matters".to_owned()),
        ];
        whats.extend(CAUSES.iter().map(|&cause| (cause, format!("{cause} and matters"))));
        for (name, what) in &whats {
            let cell = |channel| percent(results.share(grain, channel, what));
            line(
                text,
                format_args!(
                    "| {} | {} | {} | {} | {} |",
                    name.replace('_', " "),
                    cell("all"),
                    cell("spo2"),
                    cell("pulse"),
                    cell("tcpco2")
                ),
            );
        }
    }
}

fn reasons(text: &mut String, results: &Results) {
    let columns =
        ["channel", "reason", "% of its seconds that are wrong", "% of honest seconds it costs"];
    table(text, "The tool's reasons", "", &columns, 2);
    for row in results.belief.iter().filter(|row| row.grain == "second" && row.channel != "all") {
        let Some(reason) = row.what.strip_prefix("right ") else { continue };
        let cost = results.share("second", &row.channel, &format!("cost {reason}"));
        let name = reason.replace('_', " ");
        line(
            text,
            format_args!(
                "| {} | {name} | {} | {} |",
                row.channel,
                percent(Some(row.share)),
                percent(cost)
            ),
        );
    }
}

fn figures(text: &mut String, results: &Results) {
    let under = "Found less true: % for SpO2, /h for falls, points for shares, kPa for CO2. \
                 Median, quantiles and largest are of the error without its sign.";
    let columns = [
        "figure",
        "nights",
        "",
        "bias",
        "SD",
        "limits of agreement",
        "median",
        "q75",
        "q95",
        "q99",
        "largest",
    ];
    table(text, "Errors of figures", under, &columns, 2);
    for row in &results.figures {
        let e = &row.found;
        line(
            text,
            format_args!(
                "| `{}` | {} | {} | {:.3} ({:.3} to {:.3}) | {:.3} | {:.2} ({:.2} to {:.2}) to {:.2} ({:.2} to {:.2}) | {:.2} | {:.2} | {:.2} | {:.2} | {:.2} |",
                row.id,
                row.nights,
                e.nights,
                e.bias,
                e.bias_low,
                e.bias_high,
                e.sd,
                e.lower,
                e.lower_low,
                e.lower_high,
                e.upper,
                e.upper_low,
                e.upper_high,
                e.median,
                e.q75,
                e.q95,
                e.q99,
                e.max
            ),
        );
    }
}

fn shares_of_error(text: &mut String, results: &Results) {
    let under = "The error that 95 % of nights keep within, and the bias. \
                 Last: nights whose lowest and highest, as the report gives them, hold the truth.";
    let columns = [
        "figure",
        "nights",
        "found",
        "the tool's own",
        "the monitor alone",
        "with true belief",
        "% held",
    ];
    table(text, "Whose error it is", under, &columns, 2);
    for row in &results.figures {
        let cell = |e: &Errors| format!("{:.2}, bias {:.2}", e.q95, e.bias);
        line(
            text,
            format_args!(
                "| `{}` | {} | {} | {} | {} | {} | {} |",
                row.id,
                row.nights,
                cell(&row.found),
                cell(&row.own),
                cell(&row.unharmed),
                cell(&row.given),
                percent(Some(row.held))
            ),
        );
    }
}

fn lag(text: &mut String, results: &Results) {
    let Some(errors) = results.lag else { return };
    line(
        text,
        format_args!(
            "\nThe lag of CO2 behind SpO2 is told on {} % of nights. Against the sensor's dead time and \
             time constant, less the way from lung to ear and half of the averaging, it errs by {:.0} s \
             ({:.0} to {:.0}) with a standard deviation of {:.0} s; 95 % of nights keep within {:.0} s.",
            percent(Some(results.lag_told)),
            errors.bias,
            errors.bias_low,
            errors.bias_high,
            errors.sd,
            errors.q95
        ),
    );
}

fn rules(text: &mut String, results: &Results) {
    let under = "Contradicted: the answer is met and the truth not met, or the reverse. In brackets: how \
                 many the monitor alone, and the tool with true belief, would have wrong. Then answers \
                 that contradict what the monitor alone answers. Cannot tell: of all; of nights of which \
                 90 % is believed; of nights of which the truth believes 90 %, with true belief; the \
                 same were CO2 exactly what was corrected.";
    let columns = [
        "rule",
        "truly met",
        "answered",
        "contradicted",
        "against the monitor alone",
        "% cannot tell",
        "at 90 %",
        "true belief",
        "without the band",
    ];
    table(text, "Answers of rules", under, &columns, 1);
    for row in &results.rules {
        line(
            text,
            format_args!(
                "| {} | {} | {} | {} ({}, {}) | {} | {} | {} | {} | {} |",
                row.id,
                row.truly_met,
                row.contradicted.of,
                row.contradicted.hit,
                row.contradicted_unharmed.hit,
                row.contradicted_given.hit,
                row.against_unharmed.hit,
                percent(Some(row.cannot_tell)),
                percent(Some(row.cannot_tell_believed)),
                percent(Some(row.cannot_tell_given)),
                percent(Some(row.cannot_tell_unbanded))
            ),
        );
    }
}

fn open(text: &mut String, results: &Results) {
    let under = "Of all answers on nights of which 90 % is believed, by the first cause that holds. \
                 A gap is one of SpO2 or of CO2, the sensor's settling among them.";
    table(text, "Why an answer cannot be told", under, &["cause", "% of answers"], 1);
    for row in &results.open {
        line(text, format_args!("| {} | {} |", row.cause, percent(Some(row.share))));
    }
    let under = "The unharmed monitor's SpO2, judged whole and with gaps of 10 s to 30 min laid over it: the \
                 answers that open, and those that are turned round because the criteria bound too tightly \
                 what a gap could hold.";
    let columns = ["gaps", "answers", "% opened", "turned round", "in 1,000"];
    table(text, "Gaps laid over whole nights", under, &columns, 1);
    for row in &results.laid {
        let turned = row.turned;
        line(
            text,
            format_args!(
                "| {} | {} | {} | {} | {:.2} ({:.2}–{:.2}) |",
                row.way,
                turned.of,
                percent(Some(row.opened)),
                turned.hit,
                1e3 * turned.value(),
                1e3 * turned.low,
                1e3 * turned.high
            ),
        );
    }
}

fn verdicts(text: &mut String, results: &Results) {
    let under = "Every question of the sleeper's criteria set, asked of every night. \
                 On the right: the decision with true belief.";
    let columns =
        ["decision", "answer right", "contradicted", "open", "sufficient", "partial", "repeat"];
    table(text, "Verdicts", under, &columns, 1);
    for row in &results.verdicts {
        line(
            text,
            format_args!(
                "| {} | {} | {} | {} | {} | {} | {} |",
                row.decision,
                row.right,
                row.contradicted,
                row.open,
                row.sufficient_given,
                row.partial_given,
                row.repeat_given
            ),
        );
    }
}

fn patterns(text: &mut String, results: &Results) {
    let under = "True: what the same rules say of a perfect sensor's recording.";
    let columns = ["pattern", "% said where true", "% not said where not true"];
    table(text, "Patterns", under, &columns, 1);
    for row in &results.patterns {
        let name = row.id.replace('_', " ");
        line(
            text,
            format_args!(
                "| {name} | {} | {} |",
                percent(Some(row.said)),
                percent(Some(row.unsaid))
            ),
        );
    }
    text.push_str("\nBy sleeper, nights in which a pattern was said / in which it was true:\n\n| sleeper | nights |");
    let ids: Vec<&str> = results.patterns.iter().map(|row| row.id.as_str()).collect();
    for id in &ids {
        let _ = write!(text, " {} |", id.replace('_', " "));
    }
    line(text, format_args!("\n|---|---:|{}", "---:|".repeat(ids.len())));
    for row in &results.sleepers {
        let _ = write!(text, "| {} | {} |", row.sleeper, row.nights);
        for (_, said, truly) in &row.patterns {
            let _ = write!(text, " {said} / {truly} |");
        }
        text.push('\n');
    }
}

fn ablations(text: &mut String, kept: &Kept) {
    let under = format!(
        "On {} training nights. Errors are those that 95 % of nights keep within.\n\
         *Implausible* earns little here, for made monitors write few values that nobody has. It stays all the \
         same: it is the only guard against a code for a missing value that was not known as one (127, 511), \
         and it costs no honest time.",
        kept.ablation_nights
    );
    let columns = [
        "without",
        "% honest believed",
        "% wrong that matters not believed",
        "ODI4, /h",
        "time below 90, points",
        "lowest SpO2, %",
        "sustained CO2, kPa",
        "highest CO2, kPa",
        "contradicted",
        "against the monitor alone",
        "cannot tell",
    ];
    table(text, "Each reason left out", &under, &columns, 1);
    for row in &kept.ablations {
        let Ablation { without, honest, caught, .. } = row;
        line(
            text,
            format_args!(
                "| {} | {:.2} | {:.2} | {:.2} | {:.2} | {:.2} | {:.2} | {:.2} | {} | {} | {} |",
                without.replace('_', " "),
                100.0 * honest,
                100.0 * caught,
                row.odi4_q95,
                row.below_90_q95,
                row.lowest_q95,
                row.sustained_q95,
                row.highest_q95,
                row.contradicted,
                row.against_unharmed,
                row.cannot_tell
            ),
        );
    }
}

fn worst(text: &mut String, results: &Results) {
    table(text, "Nights to look at", "", &["in what", "night", "how"], 3);
    for row in &results.worst {
        line(text, format_args!("| {} | {} | {} |", row.what, row.night, row.how));
    }
}

fn ranges(text: &mut String) {
    let under = "Each night draws each evenly from its range: our choice, to hold what is usual and more. \
                 Besides: SpO2 every 1, 2 or 4 s, CO2 every 1, 2 or 5 s; whole or tenths of a per cent, \
                 kPa or mmHg; a perfusion index on six nights of ten; no reading written as nothing, zero \
                 or the last value; lights noted on nine nights of ten, times out of bed on two of \
                 three; no check, gas checks, blood gases or both.";
    table(text, "Held-out ranges", under, &["", "from", "to"], 1);
    for range in held_out::TABLE {
        line(text, format_args!("| {} | {} | {} |", range.what, range.low, range.high));
    }
}
