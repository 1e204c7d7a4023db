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
    belief(&mut text, results);
    reasons(&mut text, results);
    figures(&mut text, results);
    shares_of_error(&mut text, results);
    rules(&mut text, results);
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
         Run again with `cargo run --release -p validation -- study --write crates/validation/results/study.json`; this page is written from that file.\n\n\
         What is counted:\n\n\
         - A **second** of a channel is *wrong* when it lies in a span of the truth, so that what the monitor wrote is not its sensor's honest reading; it *matters* when there is no number or it lies 2 %, 5 /min or 0.1 kPa or more off the honest reading (our choice). Any other second is *honest*.\n\
         - A **minute** is wrong, or not believed, when at least half of its seconds are.\n\
         - *Off, settling, slips and dropouts* are together the spans of those causes and of missing rows, and seconds in any span without a number.\n\
         - **The truth of a figure or answer** is what the same rules give on a perfect sensor's recording, everything believed, over the same analysis period; CO2 is that of the skin.\n\
         - **The monitor alone** is what the same oximeter (averaging, rounding, bias, noise) gives without any mishap; nobody can take that out afterwards. What is found less that is the tool's own error. **With true belief** is the recording as it is, believed exactly where the truth says so: what is left then is not screening's doing.\n\
         - Intervals are of 95 %. Those of shares of time are Wilson's (`newcombe-1998`) on as many independent seconds as would spread as the nights do; those of bias and limits of agreement follow `bland-altman-1999`.\n",
        results.nights
    )
}

fn line(text: &mut String, line: std::fmt::Arguments<'_>) {
    let _ = text.write_fmt(line);
    text.push('\n');
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

fn belief(text: &mut String, results: &Results) {
    for (grain, title) in [("minute", "Belief by the minute"), ("second", "Belief by the second")] {
        line(text, format_args!("\n## {title}\n"));
        text.push_str("Honest time: % believed. All else: % not believed.\n\n");
        text.push_str("| | all | SpO2 | pulse | CO2 |\n|---|---:|---:|---:|---:|\n");
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
    text.push_str("\n## The tool's reasons\n\n| channel | reason | % of its seconds that are wrong | % of honest seconds it costs |\n|---|---|---:|---:|\n");
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
    text.push_str("\n## Errors of figures\n\nFound less true: % for SpO2, /h for falls, points for shares, kPa for CO2. Median and quantiles are of the error without its sign.\n\n| figure | nights | | bias | SD | limits of agreement | median | q75 | q95 | q99 | largest |\n|---|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|\n");
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
    text.push_str("\n## Whose error it is\n\nThe error that 95 % of nights keep within, and the bias.\n\n| figure | nights | found | of this the tool's own | the monitor alone | with true belief | % of nights whose lowest and highest hold the truth |\n|---|---|---:|---:|---:|---:|---:|\n");
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

fn rules(text: &mut String, results: &Results) {
    text.push_str("\n## Answers of rules\n\nContradicted: the answer is met and the truth not met, or the reverse. In brackets: how many of them the monitor alone, and the tool with true belief, would have had wrong too; then answers that contradict the monitor alone.\n\n| rule | truly met | answered | contradicted | against the monitor alone | % cannot tell | at 90 % believed | with true belief, at 90 % truly right | the same without the band of CO2 |\n|---|---:|---:|---:|---:|---:|---:|---:|---:|\n");
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

fn verdicts(text: &mut String, results: &Results) {
    text.push_str("\n## Verdicts\n\nEvery question of the sleeper's criteria set, asked of every night. On the right: the decision with true belief.\n\n| decision | answer right | contradicted | open | sufficient | partial | repeat |\n|---|---:|---:|---:|---:|---:|---:|\n");
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
    text.push_str("\n## Patterns\n\n| pattern | % said where true | % not said where not true |\n|---|---:|---:|\n");
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
    line(
        text,
        format_args!(
            "\n## Each reason left out\n\nOn {} training nights. Errors are those that 95 % of nights keep within.\n\n| without | % honest believed | % wrong that matters not believed | ODI4, /h | time below 90, points | lowest SpO2, % | sustained CO2, kPa | highest CO2, kPa | contradicted | against the monitor alone | cannot tell |\n|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|",
            kept.ablation_nights
        ),
    );
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
    text.push_str("\n## Nights to look at\n\n| in what | night | how |\n|---|---|---|\n");
    for row in &results.worst {
        line(text, format_args!("| {} | {} | {} |", row.what, row.night, row.how));
    }
}

fn ranges(text: &mut String) {
    text.push_str("\n## Held-out ranges\n\nEach night draws each evenly from its range (our choice, to hold what the trade and `docs/sources.md` call usual and more).\nBesides: SpO2 every 1, 2 or 4 s, CO2 every 1, 2 or 5 s, whole or tenths of a per cent, kPa or mmHg, a perfusion index on six nights of ten, no reading written as nothing, zero or the last value; lights noted on nine nights of ten, times out of bed on two of three; no check, gas checks, blood gases or both.\n\n| | from | to |\n|---|---:|---:|\n");
    for range in held_out::TABLE {
        line(text, format_args!("| {} | {} | {} |", range.what, range.low, range.high));
    }
}
