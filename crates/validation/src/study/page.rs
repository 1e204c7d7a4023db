//! The results on one screen.

use std::fmt::Write as _;

use crate::study::results::{FigureRow, Results, Worst};
use crate::study::targets::targets;

/// The results as plain text on one screen; `full` gives every row and the nights to look at.
pub fn page(results: &Results, full: bool) -> String {
    let mut text = format!("{} {} nights", results.nights, results.set);
    if let Some(reason) = &results.without {
        let _ = write!(text, " without the reason {reason}");
    }
    text.push('\n');
    for target in targets(results) {
        let mark = if target.met { "met   " } else { "MISSED" };
        let _ = writeln!(
            text,
            "  {mark} {} · sought {} · found {}",
            target.what, target.sought, target.found
        );
    }
    beliefs(&mut text, results);
    figures(&mut text, results, full);
    if let Some(lag) = results.lag {
        let told = percent(results.lag_told.value());
        let _ = writeln!(
            text,
            "lag of CO2: told on {told} % of nights; error, s: bias {:.1}, sd {:.1}, q95 {:.1}",
            lag.bias, lag.sd, lag.q95
        );
    }
    rules(&mut text, results, full);
    for row in &results.open {
        let _ = writeln!(text, "open at 90 %: {} {} %", row.cause, percent(row.share.value()));
    }
    for row in &results.laid {
        let (told, opened) = (row.turned.of, percent(row.opened.value()));
        let _ = writeln!(
            text,
            "gaps laid {}: of {told} answers {opened} % opened, {} turned round",
            row.way, row.turned.hit
        );
    }
    verdicts(&mut text, results);
    if full {
        worst_nights(&mut text, &results.worst);
    }
    text
}

fn percent(share: f64) -> String {
    if share.is_nan() { "–".into() } else { format!("{:.2}", 100.0 * share) }
}

fn beliefs(text: &mut String, results: &Results) {
    text.push_str("belief, % of seconds        all     spo2    pulse   tcpco2\n");
    let whats = results.belief.iter().filter(|row| row.grain == "second" && row.channel == "all");
    for what in whats.map(|row| &row.what) {
        if what.starts_with("right") || what.starts_with("cost") {
            continue;
        }
        let _ = write!(text, "  {what:<24}");
        for channel in ["all", "spo2", "pulse", "tcpco2"] {
            let share = results.share("second", channel, what).map_or(f64::NAN, |s| s.value());
            let _ = write!(text, "{:>8}", percent(share));
        }
        text.push('\n');
    }
    text.push_str("reason: % right, % of honest time it costs\n ");
    for row in results.belief.iter().filter(|row| row.grain == "second" && row.channel != "all") {
        let Some(reason) = row.what.strip_prefix("right ") else { continue };
        let cost = results.share("second", &row.channel, &format!("cost {reason}"));
        let cost = cost.map_or(f64::NAN, |share| share.value());
        let _ = write!(
            text,
            " {}/{reason} {}, {};",
            row.channel,
            percent(row.share.value()),
            percent(cost)
        );
    }
    text.push('\n');
}

fn figures(text: &mut String, results: &Results, full: bool) {
    text.push_str(
        "error of                     nights     bias      sd  median     q95     q99     max | tool's own: bias q95 | monitor alone: bias  q95 | true belief: bias q95 | truth within bounds, %\n",
    );
    for FigureRow { id, nights, found, held, own, unharmed, given } in &results.figures {
        if !full && nights != "all" && nights != "blood gas" {
            continue;
        }
        let name = format!("{id}, {nights}");
        let _ = writeln!(
            text,
            "  {name:<38}{:>5}{:>8.2}{:>8.2}{:>8.2}{:>8.2}{:>8.2}{:>8.2} | {:>7.2}{:>7.2} | {:>7.2}{:>7.2} | {:>7.2}{:>7.2} |{:>7}",
            found.nights,
            found.bias,
            found.sd,
            found.median,
            found.q95,
            found.q99,
            found.max,
            own.bias,
            own.q95,
            unharmed.bias,
            unharmed.q95,
            given.bias,
            given.q95,
            percent(held.value())
        );
    }
}

fn rules(text: &mut String, results: &Results, full: bool) {
    text.push_str("contradicted by the truth: as found, by the unharmed monitor, with true belief; found against unharmed | cannot tell, %: all, at ≥ 90 % believed, same with true belief, and no band\n");
    for row in &results.rules {
        let quiet = row.contradicted.hit == 0 && row.cannot_tell_believed.value() < 0.05;
        if !full && quiet {
            continue;
        }
        let _ = writeln!(
            text,
            "  {:<46} met {:>5} | {:>5} of {:<6}{:>5}{:>5};{:>5} |{:>7}{:>7}{:>7}{:>7}",
            row.id,
            row.truly_met,
            row.contradicted.hit,
            row.contradicted.of,
            row.contradicted_unharmed.hit,
            row.contradicted_given.hit,
            row.against_unharmed.hit,
            percent(row.cannot_tell.value()),
            percent(row.cannot_tell_believed.value()),
            percent(row.cannot_tell_given.value()),
            percent(row.cannot_tell_unbanded.value())
        );
    }
}

fn verdicts(text: &mut String, results: &Results) {
    text.push_str(
        "decision      right  contradicted  open | with true belief: sufficient  partial  repeat\n",
    );
    for row in &results.verdicts {
        let _ = writeln!(
            text,
            "  {:<12}{:>6}{:>8}{:>10} | {:>10}{:>9}{:>9}",
            row.decision,
            row.right,
            row.contradicted,
            row.open,
            row.sufficient_given,
            row.partial_given,
            row.repeat_given
        );
    }
    text.push_str("patterns: % said where true, % unsaid where not:");
    for row in &results.patterns {
        let _ = write!(
            text,
            " {} {} of {}, {};",
            row.id,
            percent(row.said.value()),
            row.said.of,
            percent(row.unsaid.value())
        );
    }
    text.push('\n');
}

fn worst_nights(text: &mut String, worst: &[Worst]) {
    let mut last = "";
    for Worst { what, night, how } in worst {
        if what != last {
            let _ = write!(text, "\nworst {what}:");
            last = what;
        }
        let _ = write!(text, " {night} ({how});");
    }
    text.push('\n');
}
